"""What a camera sees of a surface: angles, sharpness, millimetres a pixel, smear.

Lens formulas are those of a thin lens (focal length, aperture = focal length / f-number). A
data sheet's field of view can be more than a degree off its own focal length (common practice,
no source); a lens calibration overrides both.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from rushlight.physics.geometry.lens import distortion_jacobian, distortion_limit
from rushlight.physics.geometry.pinhole import ray_on_plane, undistort_px
from rushlight.physics.geometry.pose import invert_transform
from rushlight.physics.geometry.shapes import FloatArray, floats, trailing


def field_of_view(size_m: ArrayLike, focal_m: ArrayLike) -> FloatArray:
    """Which angle does a lens free of distortion take in along one side of the sensor?

    Parameters
    ----------
    size_m : array_like, shape (...)
        Side (or diagonal) of the sensor's light-sensitive area [m], above 0; from its data
        sheet in millimetres, never from a format named in inches.
    focal_m : array_like, shape (...)
        Focal length [m], above 0.

    Returns
    -------
    ndarray, shape (...)
        Full angle [rad].

    Notes
    -----
    2 atan(w / 2f), the pinhole model; Hartley & Zisserman 2004, chapter 6 (from memory).

    Examples
    --------
    >>> import numpy as np
    >>> round(float(np.degrees(field_of_view(2e-3, 1e-3))), 9)
    90.0
    """
    return 2.0 * np.arctan2(floats(size_m), 2.0 * floats(focal_m))


def hyperfocal(focal_m: ArrayLike, f_number: ArrayLike, circle_m: ArrayLike) -> FloatArray:
    """At which focus distance is everything from half of it to infinity sharp enough?

    Parameters
    ----------
    focal_m : array_like, shape (...)
        Focal length [m], above 0.
    f_number : array_like, shape (...)
        Focal length over aperture diameter [1], above 0.
    circle_m : array_like, shape (...)
        Largest blur circle on the sensor that counts as sharp [m], above 0.

    Returns
    -------
    ndarray, shape (...)
        Hyperfocal distance f²/(N c) + f [m], from the lens.

    Notes
    -----
    Source: Greenleaf, "Photographic Optics", 1950 (from memory).

    Examples
    --------
    >>> round(float(hyperfocal(0.050, 8.0, 30e-6)), 3)
    10.467
    """
    focal = floats(focal_m)
    return np.asarray(focal**2 / (floats(f_number) * floats(circle_m)) + focal)


def depth_of_field(
    hyperfocal_m: ArrayLike, focal_m: ArrayLike, focus_m: ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Between which distances is the picture sharp enough?

    Parameters
    ----------
    hyperfocal_m : array_like, shape (...)
        From `hyperfocal` [m].
    focal_m : array_like, shape (...)
        Focal length [m], above 0.
    focus_m : array_like, shape (...)
        Distance at which the lens is focused [m], above the focal length.

    Returns
    -------
    near_m, far_m : ndarray, shape (...)
        Nearest and farthest sharp distance [m]; the farthest is infinite from the hyperfocal
        distance on. NaN for a focus within the focal length.

    Notes
    -----
    near = s (H − f)/(H + s − 2f), far = s (H − f)/(H − s): the distances at which the thin
    lens's blur circle (`defocus_circle`) equals the one in `hyperfocal`, derived from it. The
    form H s/(H ± (s − f)) with this same H, also met, is an approximation (0.4 % short at the
    far end of a 3.6 mm f/2.9 lens focused at 1 m).

    Examples
    --------
    >>> near_m, far_m = depth_of_field(hyperfocal(3.6e-3, 2.9, 2.8e-6), 3.6e-3, 1.0)
    >>> round(float(near_m), 3), round(float(far_m), 3)
    (0.616, 2.662)
    """
    hyper, focal, focus = np.broadcast_arrays(
        floats(hyperfocal_m), floats(focal_m), floats(focus_m)
    )
    focus = np.where(focus > focal, focus, np.nan)
    near = focus * (hyper - focal) / (hyper + focus - 2.0 * focal)
    beyond = hyper - focus
    finite = ~(beyond <= 0.0)
    far = np.where(finite, focus * (hyper - focal) / np.where(finite, beyond, 1.0), np.inf)
    return near, far


def defocus_circle(
    focal_m: ArrayLike, f_number: ArrayLike, focus_m: ArrayLike, distance_m: ArrayLike
) -> FloatArray:
    """How wide does a point out of focus spread on the sensor?

    Parameters
    ----------
    focal_m : array_like, shape (...)
        Focal length [m], above 0.
    f_number : array_like, shape (...)
        Focal length over aperture diameter [1], above 0.
    focus_m : array_like, shape (...)
        Distance at which the lens is focused [m], above the focal length.
    distance_m : array_like, shape (...)
        Distance of the point [m], above 0.

    Returns
    -------
    ndarray, shape (...)
        Diameter of the blur circle on the sensor [m]; NaN for a focus within the focal length.

    Notes
    -----
    (f/N) · f/(s − f) · |d − s|/d, from similar triangles behind a thin lens.

    Examples
    --------
    >>> round(float(defocus_circle(3.6e-3, 2.9, 1.0, 2.0)) * 1e6, 3)
    2.243
    """
    focal, focus, distance = floats(focal_m), floats(focus_m), floats(distance_m)
    extension = np.where(focus > focal, focus - focal, np.nan)
    spread = np.abs(distance - focus) / distance
    return np.asarray(focal / floats(f_number) * focal / extension * spread)


def airy_diameter(wavelength_m: ArrayLike, f_number: ArrayLike) -> FloatArray:
    """How wide is the central disc that diffraction makes of a point in focus?

    Parameters
    ----------
    wavelength_m : array_like, shape (...)
        Wavelength [m], above 0.
    f_number : array_like, shape (...)
        Focal length over aperture diameter [1], above 0.

    Returns
    -------
    ndarray, shape (...)
        Diameter of the first dark ring on the sensor, 2.44 λ N [m].

    Notes
    -----
    Source: Born & Wolf, "Principles of Optics", section 8.5.2 (from memory).

    Examples
    --------
    >>> round(float(airy_diameter(850e-9, 2.0)) * 1e6, 2)
    4.15
    """
    return np.asarray(2.44 * floats(wavelength_m) * floats(f_number))


def incidence(
    points_m: ArrayLike, camera_position_m: ArrayLike, normal: ArrayLike = (0.0, 0.0, 1.0)
) -> FloatArray:
    """How obliquely is a point of a surface seen?

    Parameters
    ----------
    points_m : array_like, shape (..., 3)
        Points [m].
    camera_position_m : array_like, shape (..., 3)
        Camera centre, same frame [m].
    normal : array_like, shape (..., 3)
        Outward normal of the surface, any length; by default the display's.

    Returns
    -------
    ndarray, shape (...)
        Angle between normal and line of sight [rad], 0 (square on) to π; above π/2 the camera
        is behind the surface. NaN for a point at the camera.

    Raises
    ------
    ValueError
        If a last axis is not 3 long.

    Examples
    --------
    >>> import numpy as np
    >>> round(float(np.degrees(incidence([1.0, 0.0, 0.0], [0.0, 0.0, 1.0]))), 9)
    45.0
    """
    line = trailing(camera_position_m, (3,), "camera_position_m") - trailing(
        points_m, (3,), "points_m"
    )
    outward = trailing(normal, (3,), "normal")
    along = np.sum(line * outward, axis=-1)
    across = np.linalg.norm(np.cross(line, outward), axis=-1)
    # The arc tangent of sine and cosine stays exact where an arc cosine would not.
    angle = np.arctan2(across, along)
    return np.where((along == 0.0) & (across == 0.0), np.nan, angle)


def surface_from_px_jacobian(
    points_xy_m: ArrayLike,
    K: ArrayLike,
    k: ArrayLike,
    surface_from_camera: ArrayLike,
    z_m: ArrayLike = 0.0,
) -> FloatArray:
    """How does a point of the surface move when its picture moves by a pixel?

    Parameters
    ----------
    points_xy_m : array_like, shape (..., 2)
        Points in the surface frame [m].
    K : array_like, shape (..., 3, 3)
        Camera matrix [px].
    k : array_like, shape (..., 5)
        Lens coefficients k1, k2, p1, p2, k3 [1].
    surface_from_camera : array_like, shape (..., 4, 4)
        Pose of the camera in the surface frame.
    z_m : array_like, shape (...)
        Height of the plane, parallel to the surface, in which the point moves [m].

    Returns
    -------
    ndarray, shape (..., 2, 2)
        d(x_m, y_m)/d(x_px, y_px) [m/px]; NaN where the camera cannot see the point (beside or
        behind it, beyond the lens model's limit) or sees the plane edge on.

    Raises
    ------
    ValueError
        If a last axis has the wrong length.

    Examples
    --------
    >>> from rushlight.physics.geometry.pinhole import camera_matrix
    >>> from rushlight.physics.geometry.pose import rig_from_camera_turned
    >>> pose = rig_from_camera_turned([0.0, 0.0, 3.0], 0.0, 0.0)
    >>> K = camera_matrix(600.0, [319.5, 239.5])
    >>> (surface_from_px_jacobian([0.2, 0.1], K, [0.0] * 5, pose) * 1e3).round(9).tolist()
    [[5.0, 0.0], [0.0, -5.0]]
    """
    xy = trailing(points_xy_m, (2,), "points_xy_m")
    matrix = trailing(K, (3, 3), "K")
    camera_from_surface = invert_transform(surface_from_camera)
    turn = camera_from_surface[..., :3, :3]
    seen = (
        np.matvec(turn[..., :2], xy)
        + turn[..., 2] * floats(z_m)[..., None]
        + camera_from_surface[..., :3, 3]
    )
    depth = np.where(seen[..., 2] > 0.0, seen[..., 2], np.nan)
    normalised = seen[..., :2] / depth[..., None]
    radius = np.hypot(normalised[..., 0], normalised[..., 1])
    depth = np.where(radius < distortion_limit(k), depth, np.nan)
    of_surface = turn[..., :2, :2] - normalised[..., :, None] * turn[..., None, 2, :2]
    of_surface = of_surface / depth[..., None, None]
    px_from_surface = matrix[..., :2, :2] @ distortion_jacobian(normalised, k) @ of_surface
    return _inverse_2x2(px_from_surface)


def metres_per_pixel(
    points_xy_m: ArrayLike,
    K: ArrayLike,
    k: ArrayLike,
    surface_from_camera: ArrayLike,
    z_m: ArrayLike = 0.0,
) -> FloatArray:
    """How much of the surface does one pixel stand for, in its worst and best direction?

    Parameters
    ----------
    points_xy_m, K, k, surface_from_camera, z_m
        As in `surface_from_px_jacobian`.

    Returns
    -------
    ndarray, shape (..., 2)
        Major and minor axis of the patch that a circle of one pixel radius covers [m/px];
        NaN where the camera cannot see the point.

    Raises
    ------
    ValueError
        If a last axis has the wrong length.

    Examples
    --------
    >>> from rushlight.physics.geometry.pinhole import camera_matrix
    >>> from rushlight.physics.geometry.pose import rig_from_camera_turned
    >>> pose = rig_from_camera_turned([0.0, 0.0, 3.0], 0.0, 0.0)
    >>> K = camera_matrix(600.0, [319.5, 239.5])
    >>> (metres_per_pixel([0.2, 0.1], K, [0.0] * 5, pose) * 1e3).round(9).tolist()
    [5.0, 5.0]
    """
    local = surface_from_px_jacobian(points_xy_m, K, k, surface_from_camera, z_m)
    a, b, c, d = local[..., 0, 0], local[..., 0, 1], local[..., 1, 0], local[..., 1, 1]
    # Singular values of a 2 × 2 matrix in closed form; a library's would stop at a NaN.
    half_sum, half_gap = np.hypot(a + d, b - c) / 2, np.hypot(a - d, b + c) / 2
    return np.stack([half_sum + half_gap, np.abs(half_sum - half_gap)], axis=-1)


def corners_of_view_on_plane(
    size_px: ArrayLike,
    K: ArrayLike,
    k: ArrayLike,
    surface_from_camera: ArrayLike,
    z_m: ArrayLike = 0.0,
) -> FloatArray:
    """Where on the surface do the four corners of the picture lie?

    Parameters
    ----------
    size_px : array_like, shape (..., 2)
        Width and height of the picture [px].
    K, k, surface_from_camera
        As in `surface_from_px_jacobian`; leading axes without that of the corners.
    z_m : array_like, shape (...)
        Height of the plane above the surface [m].

    Returns
    -------
    ndarray, shape (..., 4, 2)
        Outer corners of the corner pixels on the plane [m], in the picture's order top left,
        top right, bottom right, bottom left. NaN where a corner's ray misses the plane or the
        lens model does not reach.

    Raises
    ------
    ValueError
        If a last axis has the wrong length.

    Examples
    --------
    >>> from rushlight.physics.geometry.pinhole import camera_matrix
    >>> from rushlight.physics.geometry.pose import rig_from_camera_turned
    >>> pose = rig_from_camera_turned([0.0, 0.0, 3.0], 0.0, 0.0)
    >>> K = camera_matrix(600.0, [319.5, 239.5])
    >>> corners_of_view_on_plane([640, 480], K, [0.0] * 5, pose).round(9)[0].tolist()
    [-1.6, 1.2]
    """
    size = trailing(size_px, (2,), "size_px")
    corner_px = size[..., None, :] * [[0, 0], [1, 0], [1, 1], [0, 1]] - 0.5
    matrix = trailing(K, (3, 3), "K")[..., None, :, :]
    lens = trailing(k, (5,), "k")[..., None, :]
    pose = trailing(surface_from_camera, (4, 4), "surface_from_camera")[..., None, :, :]
    return ray_on_plane(undistort_px(corner_px, matrix, lens), pose, floats(z_m)[..., None])


def motion_blur_px(
    speed_m_s: ArrayLike, exposure_s: ArrayLike, metres_per_px: ArrayLike
) -> FloatArray:
    """Over how many pixels does a moving light smear during one exposure?

    Parameters
    ----------
    speed_m_s : array_like, shape (...)
        Speed over the surface [m/s].
    exposure_s : array_like, shape (...)
        Exposure time [s].
    metres_per_px : array_like, shape (...)
        Surface length of a pixel along the motion [m/px]; the minor axis of
        `metres_per_pixel` for the longest smear.

    Returns
    -------
    ndarray, shape (...)
        Length of the smear [px].

    Examples
    --------
    >>> float(motion_blur_px(1.0, 0.004, 0.004))
    1.0
    """
    return np.asarray(floats(speed_m_s) * floats(exposure_s) / floats(metres_per_px))


def rolling_skew_m(row_time_s: ArrayLike, rows: ArrayLike, speed_m_s: ArrayLike) -> FloatArray:
    """By how much does a moving light run ahead while the shutter rolls over some rows?

    Parameters
    ----------
    row_time_s : array_like, shape (...)
        Time between the starts of two neighbouring rows [s]; 0 for a global shutter.
    rows : array_like, shape (...)
        Rows between the light and the row that the frame's time stands for [1].
    speed_m_s : array_like, shape (...)
        Speed over the surface [m/s].

    Returns
    -------
    ndarray, shape (...)
        Distance travelled meanwhile [m].

    Examples
    --------
    >>> round(float(rolling_skew_m(60e-6, 480, 0.5)), 4)
    0.0144
    """
    return np.asarray(floats(row_time_s) * floats(rows) * floats(speed_m_s))


def _inverse_2x2(matrix: FloatArray) -> FloatArray:
    """Inverse, NaN where there is none."""
    a, b, c, d = matrix[..., 0, 0], matrix[..., 0, 1], matrix[..., 1, 0], matrix[..., 1, 1]
    det = a * d - b * c
    size = np.max(np.abs(matrix), axis=(-2, -1))
    # Seen edge on, the determinant is left with rounding only.
    det = np.where(np.abs(det) > 1e-13 * size**2, det, np.nan)
    turned = np.stack([np.stack([d, -b], axis=-1), np.stack([-c, a], axis=-1)], axis=-2)
    return np.asarray(turned / det[..., None, None])
