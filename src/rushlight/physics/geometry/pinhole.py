"""Pinhole cameras behind a distorting lens: from points to pixels and back.

Normalised image coordinates are (X/Z, Y/Z) in the camera frame. Pixels are (x, y) with the
centre of the top-left pixel at (0, 0). The lens is that of `rushlight.physics.geometry.lens`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from rushlight.physics.geometry.lens import distort, distortion_limit, undistort
from rushlight.physics.geometry.pose import invert_transform, transform_points
from rushlight.physics.geometry.shapes import FloatArray, floats, trailing


def camera_matrix(
    focal_px: ArrayLike, centre_px: ArrayLike, pixel_aspect: ArrayLike = 1.0
) -> FloatArray:
    """Which matrix takes normalised coordinates to pixels?

    Parameters
    ----------
    focal_px : array_like, shape (...)
        Focal length along x [px], above 0.
    centre_px : array_like, shape (..., 2)
        Principal point (x, y) [px].
    pixel_aspect : array_like, shape (...)
        Focal length along y over that along x [1]; 1 for square pixels.

    Returns
    -------
    ndarray, shape (..., 3, 3)
        Camera matrix K [px].

    Raises
    ------
    ValueError
        If the last axis of `centre_px` is not 2 long.

    Examples
    --------
    >>> camera_matrix(600.0, [319.5, 239.5]).tolist()
    [[600.0, 0.0, 319.5], [0.0, 600.0, 239.5], [0.0, 0.0, 1.0]]
    """
    focal, aspect = floats(focal_px), floats(pixel_aspect)
    centre = trailing(centre_px, (2,), "centre_px")
    shape = np.broadcast_shapes(focal.shape, aspect.shape, centre.shape[:-1])
    matrix = np.zeros((*shape, 3, 3))
    matrix[..., 0, 0] = focal
    matrix[..., 1, 1] = focal * aspect
    matrix[..., :2, 2] = centre
    matrix[..., 2, 2] = 1.0
    return matrix


def project(
    points_rig_m: ArrayLike, K: ArrayLike, k: ArrayLike, rig_from_camera: ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """At which pixel, and how far ahead, does a camera see a point?

    Parameters
    ----------
    points_rig_m : array_like, shape (..., 3)
        Points in the rig frame [m].
    K : array_like, shape (..., 3, 3)
        Camera matrix [px].
    k : array_like, shape (..., 5)
        Lens coefficients k1, k2, p1, p2, k3 [1].
    rig_from_camera : array_like, shape (..., 4, 4)
        Pose of the camera.

    Returns
    -------
    px : ndarray, shape (..., 2)
        Pixel coordinates [px], not clipped to the sensor. NaN for a point beside or behind
        the camera and for one beyond `distortion_limit`, where the polynomial would fold it
        back into the picture.
    depth_m : ndarray, shape (...)
        Distance along the optical axis [m]; negative behind the camera.

    Raises
    ------
    ValueError
        If a last axis has the wrong length.

    Examples
    --------
    >>> from rushlight.physics.geometry.pose import rig_from_camera_looking_at
    >>> K, k = camera_matrix(600.0, [319.5, 239.5]), [0.0] * 5
    >>> pose = rig_from_camera_looking_at([1.0, 1.0, 3.0], [1.0, 1.0, 0.0])
    >>> px, depth_m = project([1.5, 1.0, 0.0], K, k, pose)
    >>> px.tolist(), float(depth_m)
    ([419.5, 239.5], 3.0)
    """
    points = transform_points(invert_transform(rig_from_camera), points_rig_m)
    depth = points[..., 2]
    ahead = np.where(depth > 0.0, depth, np.nan)
    normalised = points[..., :2] / ahead[..., None]
    radius = np.hypot(normalised[..., 0], normalised[..., 1])
    seen = radius < distortion_limit(k)
    px = px_from_normalised(np.where(seen[..., None], normalised, np.nan), K, k)
    return px, np.broadcast_to(depth, px.shape[:-1]).copy()


def px_from_normalised(normalised: ArrayLike, K: ArrayLike, k: ArrayLike) -> FloatArray:
    """At which pixel does a ray of given normalised coordinates arrive?

    Parameters
    ----------
    normalised : array_like, shape (..., 2)
        Undistorted normalised image coordinates [1].
    K : array_like, shape (..., 3, 3)
        Camera matrix [px].
    k : array_like, shape (..., 5)
        Lens coefficients k1, k2, p1, p2, k3 [1]; zeros for pixels free of distortion.

    Returns
    -------
    ndarray, shape (..., 2)
        Pixel coordinates [px].

    Raises
    ------
    ValueError
        If a last axis has the wrong length.

    Examples
    --------
    >>> px_from_normalised([0.1, 0.0], camera_matrix(600.0, [320.0, 240.0]), [0.0] * 5).tolist()
    [380.0, 240.0]
    """
    matrix = trailing(K, (3, 3), "K")
    scaled: FloatArray = np.matvec(matrix[..., :2, :2], distort(normalised, k))
    return scaled + matrix[..., :2, 2]


def undistort_px(px: ArrayLike, K: ArrayLike, k: ArrayLike) -> FloatArray:
    """Which normalised coordinates does a pixel stand for, free of the lens's distortion?

    Parameters
    ----------
    px : array_like, shape (..., 2)
        Pixel coordinates [px].
    K : array_like, shape (..., 3, 3)
        Camera matrix [px].
    k : array_like, shape (..., 5)
        Lens coefficients k1, k2, p1, p2, k3 [1].

    Returns
    -------
    ndarray, shape (..., 2)
        Undistorted normalised image coordinates [1]; NaN as in `undistort`.

    Raises
    ------
    ValueError
        If a last axis has the wrong length.

    Examples
    --------
    >>> undistort_px([380.0, 240.0], camera_matrix(600.0, [320.0, 240.0]), [0.0] * 5).tolist()
    [0.1, 0.0]
    """
    matrix = trailing(K, (3, 3), "K")
    x_px, y_px = np.moveaxis(trailing(px, (2,), "px") - matrix[..., :2, 2], -1, 0)
    y = y_px / matrix[..., 1, 1]
    x = (x_px - matrix[..., 0, 1] * y) / matrix[..., 0, 0]
    return undistort(np.stack([x, y], axis=-1), k)


def ray_on_plane(
    normalised: ArrayLike, surface_from_camera: ArrayLike, z_m: ArrayLike = 0.0
) -> FloatArray:
    """Where does a camera's ray meet a plane parallel to the surface?

    Parameters
    ----------
    normalised : array_like, shape (..., 2)
        Undistorted normalised image coordinates of the ray [1].
    surface_from_camera : array_like, shape (..., 4, 4)
        Pose of the camera in the surface frame.
    z_m : array_like, shape (...)
        Height of the plane above the surface [m].

    Returns
    -------
    ndarray, shape (..., 2)
        Point (x, y) in the surface frame [m]; NaN where the ray runs along the plane or meets
        it only behind the camera.

    Raises
    ------
    ValueError
        If a last axis has the wrong length.

    Examples
    --------
    >>> from rushlight.physics.geometry.pose import rig_from_camera_turned
    >>> ray_on_plane([0.1, 0.1], rig_from_camera_turned([1.0, 1.0, 2.0], 0.0, 0.0)).tolist()
    [1.2, 0.8]
    """
    point = trailing(normalised, (2,), "normalised")
    pose = trailing(surface_from_camera, (4, 4), "surface_from_camera")
    ray = np.matvec(
        pose[..., :3, :3], np.concatenate([point, np.ones((*point.shape[:-1], 1))], axis=-1)
    )
    rise = floats(z_m) - pose[..., 2, 3]
    # A ray this close to parallel owes its crossing to rounding.
    crossing = np.abs(ray[..., 2]) > 1e-12 * np.linalg.norm(ray, axis=-1)
    depth = rise / np.where(crossing, ray[..., 2], np.nan)
    depth = np.where(depth > 0.0, depth, np.nan)
    return np.asarray(pose[..., :2, 3] + depth[..., None] * ray[..., :2])
