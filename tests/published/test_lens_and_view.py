"""Field of view, hyperfocal distance and diffraction: worked cases.

SOURCE: the hyperfocal distance f²/(N c) + f with its common worked case of a 50 mm lens at f/8
and a 0.03 mm circle, 10.467 m (Greenleaf, "Photographic Optics", 1950, for the formula, from
memory; the case is common practice, no source). Airy disc 2.44 λ N: Born & Wolf, "Principles of
Optics", section 8.5.2 (from memory). All other values are computed here from the formulas;
the sensor sizes and the two published angles are typical of camera modules' data sheets (common
practice, no source).
"""

import numpy as np
import pytest

from rushlight.physics.geometry.view import (
    airy_diameter,
    defocus_circle,
    depth_of_field,
    field_of_view,
    hyperfocal,
)


@pytest.mark.parametrize(
    ("side_mm", "focal_mm", "degrees", "tolerance", "printed_degrees", "data_sheet_off"),
    [
        (3.68, 3.04, 62.37, 0.005, 62.2, 0.2),
        (2.76, 3.04, 48.83, 0.005, 48.8, 0.05),
        # This data sheet is 1.6° off its own focal length: a calibration overrides both.
        (3.76, 3.60, 55.1, 0.05, 53.5, 1.65),
    ],
)
def test_field_of_view(side_mm, focal_mm, degrees, tolerance, printed_degrees, data_sheet_off):
    found = np.degrees(field_of_view(side_mm * 1e-3, focal_mm * 1e-3))
    assert found == pytest.approx(degrees, abs=tolerance)
    assert found == pytest.approx(printed_degrees, abs=data_sheet_off)


@pytest.mark.parametrize(
    ("focal_mm", "f_number", "circle_um", "metres"),
    [(50.0, 8.0, 30.0, 10.467), (3.6, 2.9, 2.8, 1.600), (6.0, 2.0, 6.9, 2.615)],
)
def test_hyperfocal_distance(focal_mm, f_number, circle_um, metres):
    found = hyperfocal(focal_mm * 1e-3, f_number, circle_um * 1e-6)
    assert found == pytest.approx(metres, abs=0.0005)


@pytest.mark.parametrize(
    ("focal_mm", "f_number", "circle_um", "focus_m", "near_m", "far_m"),
    [(3.6, 2.9, 2.8, 1.0, 0.616, 2.652), (6.0, 2.0, 6.9, 1.5, 0.955, 3.500)],
)
def test_depth_of_field_is_exact_where_a_common_form_is_not(
    focal_mm, f_number, circle_um, focus_m, near_m, far_m
):
    """The near and far given here come of H s/(H ± (s − f)) with H = f²/(N c) + f.

    That form is exact only with H = f²/(N c). Ours meets the blur circle exactly, and so differs
    from these values by up to 0.4 %.
    """
    focal, circle = focal_mm * 1e-3, circle_um * 1e-6
    hyper = hyperfocal(focal, f_number, circle)
    common = hyper * focus_m / (hyper + np.array([1, -1]) * (focus_m - focal))
    np.testing.assert_allclose(common, [near_m, far_m], atol=0.0005)
    exact = depth_of_field(hyper, focal, focus_m)
    np.testing.assert_allclose(exact, [near_m, far_m], rtol=0.004)
    np.testing.assert_allclose(
        defocus_circle(focal, f_number, focus_m, np.array(exact)), circle, rtol=1e-9
    )


@pytest.mark.parametrize(
    ("wavelength_nm", "f_number", "micrometres"), [(850, 2.0, 4.15), (940, 2.9, 6.65)]
)
def test_airy_disc(wavelength_nm, f_number, micrometres):
    found = airy_diameter(wavelength_nm * 1e-9, f_number)
    assert found * 1e6 == pytest.approx(micrometres, abs=0.005)
