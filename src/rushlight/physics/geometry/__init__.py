"""Camera, lens and plane geometry: where a light appears, and how well that is known.

Every function broadcasts over leading axes as numpy does; only the last axes named in a
docstring are fixed. A batch of R cameras looking at G points therefore wants
``rig_from_camera[:, None]`` of shape (R, 1, 4, 4) beside points of shape (G, 3).

What cannot be seen, mapped or inverted comes back as NaN, never as a plausible number.

The modules, from the ground up: `pose`, `lens`, `pinhole`, `view`; `plane`, `registration`;
`offaxis`.
"""

from rushlight.physics.geometry.lens import distort as distort
from rushlight.physics.geometry.lens import distortion_jacobian as distortion_jacobian
from rushlight.physics.geometry.lens import distortion_jacobian_wrt_k as distortion_jacobian_wrt_k
from rushlight.physics.geometry.lens import distortion_limit as distortion_limit
from rushlight.physics.geometry.lens import undistort as undistort
from rushlight.physics.geometry.pinhole import camera_matrix as camera_matrix
from rushlight.physics.geometry.pinhole import project as project
from rushlight.physics.geometry.pinhole import px_from_normalised as px_from_normalised
from rushlight.physics.geometry.pinhole import ray_on_plane as ray_on_plane
from rushlight.physics.geometry.pinhole import undistort_px as undistort_px
from rushlight.physics.geometry.plane import apparent_shift as apparent_shift
from rushlight.physics.geometry.plane import apply_homography as apply_homography
from rushlight.physics.geometry.plane import fit_homography as fit_homography
from rushlight.physics.geometry.plane import flatness_modes as flatness_modes
from rushlight.physics.geometry.plane import homography_jacobian as homography_jacobian
from rushlight.physics.geometry.plane import plane_tangent as plane_tangent
from rushlight.physics.geometry.plane import refine_homography as refine_homography
from rushlight.physics.geometry.pose import invert_transform as invert_transform
from rushlight.physics.geometry.pose import matrix_from_quaternion as matrix_from_quaternion
from rushlight.physics.geometry.pose import quaternion_from_matrix as quaternion_from_matrix
from rushlight.physics.geometry.pose import rig_from_camera_looking_at as rig_from_camera_looking_at
from rushlight.physics.geometry.pose import rig_from_camera_turned as rig_from_camera_turned
from rushlight.physics.geometry.pose import transform_points as transform_points
from rushlight.physics.geometry.pose import turn_of_camera as turn_of_camera
from rushlight.physics.geometry.registration import LinearRegistration as LinearRegistration
from rushlight.physics.geometry.registration import d_optimal_touches as d_optimal_touches
from rushlight.physics.geometry.registration import leave_one_out as leave_one_out
from rushlight.physics.geometry.registration import linear_registration as linear_registration
from rushlight.physics.geometry.view import airy_diameter as airy_diameter
from rushlight.physics.geometry.view import corners_of_view_on_plane as corners_of_view_on_plane
from rushlight.physics.geometry.view import defocus_circle as defocus_circle
from rushlight.physics.geometry.view import depth_of_field as depth_of_field
from rushlight.physics.geometry.view import field_of_view as field_of_view
from rushlight.physics.geometry.view import hyperfocal as hyperfocal
from rushlight.physics.geometry.view import incidence as incidence
from rushlight.physics.geometry.view import metres_per_pixel as metres_per_pixel
from rushlight.physics.geometry.view import motion_blur_px as motion_blur_px
from rushlight.physics.geometry.view import rolling_skew_m as rolling_skew_m
from rushlight.physics.geometry.view import surface_from_px_jacobian as surface_from_px_jacobian
