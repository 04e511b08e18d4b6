"""Between samples of a smooth motion: the cubic through the four samples around a moment."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from rushlight.physics.geometry.shapes import FloatArray


def cubic_weights(nodes: ArrayLike, at: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """With which weights do four samples make the value, and the slope, at a moment between?

    Parameters
    ----------
    nodes : array_like, shape (..., 4)
        Moments of the samples [s], all different.
    at : array_like, shape (...)
        Moment that is asked for [s].

    Returns
    -------
    weight, slope : ndarray, shape (..., 4)
        Weights of the four samples [1], and of their rate of change [1/s].

    Notes
    -----
    Lagrange's polynomial of third degree: exact for motions that are cubic in time, and off by
    the fourth derivative times (t − t₀)(t − t₁)(t − t₂)(t − t₃)/24 otherwise (any textbook of
    numerical analysis).

    Examples
    --------
    >>> weight, slope = cubic_weights([0.0, 1.0, 2.0, 3.0], 1.5)
    >>> (weight @ [0.0, 1.0, 8.0, 27.0]).round(3), (slope @ [0.0, 1.0, 8.0, 27.0]).round(3)
    (np.float64(3.375), np.float64(6.75))
    """
    node, time = np.asarray(nodes, float), np.asarray(at, float)
    weight, slope = np.ones(node.shape), np.zeros(node.shape)
    for i in range(4):
        others = [j for j in range(4) if j != i]
        scale = np.prod([node[..., i] - node[..., j] for j in others], axis=0)
        off = [time - node[..., j] for j in others]
        weight[..., i] = off[0] * off[1] * off[2] / scale
        slope[..., i] = (off[0] * off[1] + off[0] * off[2] + off[1] * off[2]) / scale
    return weight, slope
