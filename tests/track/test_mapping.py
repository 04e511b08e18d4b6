"""The compiled map beside the plain one of `physics`, and where a registration does not fit."""

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rushlight.errors import RushlightError
from rushlight.physics.surface_map import map_px
from rushlight.track.map_frame import map_dots
from rushlight.track.mapping import SurfaceMap

DOTS = st.lists(st.tuples(st.floats(-200, 840), st.floats(-200, 680)), min_size=1, max_size=12)
LENS = st.tuples(
    st.floats(-0.4, 0.4),
    st.floats(-0.2, 0.2),
    st.floats(-0.01, 0.01),
    st.floats(-0.01, 0.01),
    st.floats(-0.1, 0.1),
)
BENDS = st.lists(st.floats(-0.01, 0.01), min_size=7, max_size=7)
TILT = st.tuples(st.floats(-0.3, 0.3), st.floats(-0.3, 0.3))


def changed(registration, distortion, bends, tilt):
    """The registration with another lens, wall and view."""
    own = registration.maps[0].model_copy(
        update={
            "distortion": list(distortion),
            "surface_from_normalised": [[2.0, 0.1, 1.28], [-0.05, -2.0, 0.96], [*tilt, 1.0]],
            "camera_matrix": [[500.0, 1.5, 320.0], [0, 510.0, 240.0], [0, 0, 1]],
        }
    )
    return registration.model_copy(update={"maps": [own], "flatness_m": list(bends)})


def plainly(registration, xy_px, cov_px2):
    """What `physics` says."""
    own = registration.maps[0]
    return map_px(
        xy_px,
        cov_px2,
        own.camera_matrix,
        own.distortion,
        own.surface_from_normalised,
        registration.flatness_m,
        registration.valid_for.surface_size_m,
        own.camera_position_m,
    )


def covariances(count):
    """Some that are correlated and of different size."""
    one = np.array([[0.02, 0.005], [0.005, 0.01]])
    return one * (1.0 + np.arange(count))[:, None, None]


@settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(DOTS, LENS, BENDS, TILT)
def test_it_says_what_physics_says(registration, dots, lens, bends, tilt):
    registration = changed(registration, lens, bends, tilt)
    xy_px = np.array(dots)
    cov_px2 = covariances(len(dots))
    place, cov = SurfaceMap(registration, "beam", (640, 480))(xy_px, cov_px2)
    plain_place, plain_cov = plainly(registration, xy_px, cov_px2)
    scale = 1.0 + np.abs(np.nan_to_num(plain_place)).max()
    np.testing.assert_allclose(place, plain_place, atol=1e-9 * scale, rtol=1e-7)
    size = np.abs(np.nan_to_num(plain_cov)).max(axis=(1, 2), keepdims=True) + 1e-12
    np.testing.assert_allclose(cov / size, plain_cov / size, atol=1e-5)


def test_the_quick_way_itself_reaches_all_of_a_common_lens(registration):
    """Otherwise every frame would go the slow way without a word."""
    own = registration.maps[0]
    xy_px = np.stack(np.meshgrid([0.0, 200.0, 639.0], [0.0, 240.0, 479.0]), -1).reshape(-1, 2)
    place, cov = np.empty((9, 2)), np.empty((9, 2, 2))
    lens = np.array([-0.2, 0.05, 0.001, -0.001, 0.0])
    map_dots(
        xy_px,
        covariances(9),
        np.array(own.camera_matrix),
        lens,
        10.0,
        np.array(own.surface_from_normalised),
        np.full(7, 0.001),
        np.array([2.56, 1.92]),
        np.array(own.camera_position_m),
        place,
        cov,
    )
    assert np.isfinite(place).all()
    assert np.isfinite(cov).all()


def test_beyond_the_lens_there_is_no_place(registration):
    folding = changed(registration, (-0.4, 0.0, 0.0, 0.0, 0.0), [0.0] * 7, (0.0, 0.0))
    place, _ = SurfaceMap(folding, "beam", (640, 480))(
        np.array([[320.0, 240.0], [900.0, 900.0]]), covariances(2)
    )
    assert np.isfinite(place[0]).all()
    assert np.isnan(place[1]).all()


def test_no_dots_are_no_places(registration):
    place, cov = SurfaceMap(registration, "beam", (640, 480))(np.zeros((0, 2)), np.zeros((0, 2, 2)))
    assert place.shape == (0, 2)
    assert cov.shape == (0, 2, 2)


@pytest.mark.parametrize(
    ("camera", "size_px", "said"),
    [("beam", (320, 240), "is not the footage's 320×240 px"), ("other", (640, 480), "no map")],
)
def test_a_registration_of_something_else_is_refused(registration, camera, size_px, said):
    with pytest.raises(RushlightError, match=said):
        SurfaceMap(registration, camera, size_px)
