"""Eye exposure: limits, worked examples and the risk groups.

SOURCE: Directive 2006/25/EC, Annex I, table 1.1, and IEC/EN 62471 behind it. Worked examples of
emitter makers second-hand, as marked; risk-group limits and R(λ) from memory; the rest computed
here. Estimates: the standard itself and a qualified assessor decide.
"""

import pytest

from rushlight.physics import safety
from rushlight.physics.eye_groups import grid_places, worst_group


def test_array_of_twenty():
    """20 × 160 mW/sr beyond 1000 s at 200 mm: 80 W/m² of 100 (maker's note, second-hand)."""
    assert safety.cornea_irradiance(20 * 0.160, 0.2) == pytest.approx(80, abs=0.5)
    assert safety.cornea_limit(1001.0) == 100


def test_array_of_forty_close_by():
    """40 × 11 mW/sr at 120 mm: 30.55 W/m², printed without rounding up from 30.556."""
    assert safety.cornea_irradiance(40 * 0.011, 0.120) == pytest.approx(30.55, abs=0.01)


def test_retina_limit_of_a_small_source():
    """545.5 mW·mm⁻²·sr⁻¹ for α of 11 mrad beyond 10 s (maker's note, second-hand)."""
    alone = worst_group([[0.0, 0.0]], 0.02, 0.3e-3, 850e-9, 0.2, 1001.0)
    assert alone.alpha_rad == pytest.approx(0.011)
    found = safety.retina_limit_weak_stimulus(alone.alpha_rad, 1001.0)
    assert found * 1e-3 == pytest.approx(545.5, abs=0.05)


@pytest.mark.parametrize("alpha_mrad", [11.0, 50.0, 100.0])
def test_retina_limit_as_the_directive_writes_it(alpha_mrad):
    """6·10⁶/C_α with C_α in mrad."""
    found = safety.retina_limit_weak_stimulus(alpha_mrad * 1e-3, 1001.0)
    assert found == pytest.approx(6e6 / alpha_mrad)


@pytest.mark.parametrize(
    ("intensity_w_sr", "distance_m", "irradiance", "half_digit"),
    [(0.020, 0.2, 0.5, 0.05), (0.020, 0.02, 50, 0.5), (0.48, 0.2, 12, 0.5)],
)
def test_cornea_computed_here(intensity_w_sr, distance_m, irradiance, half_digit):
    found = safety.cornea_irradiance(intensity_w_sr, distance_m)
    assert found == pytest.approx(irradiance, abs=half_digit)


@pytest.mark.parametrize(("intensity_w_sr", "distance_mm"), [(0.020, 14.1), (0.48, 69)])
def test_distance_of_the_long_limit_computed_here(intensity_w_sr, distance_mm):
    # Half of the last printed digit of the distance, as a share, counts twice in the irradiance.
    half_digit = 0.05 if distance_mm == 14.1 else 0.5
    found = safety.cornea_irradiance(intensity_w_sr, distance_mm * 1e-3)
    assert found == pytest.approx(100, rel=2 * half_digit / distance_mm)


def test_limit_of_a_short_stay_computed_here():
    """200 W/m² are borne for 403 s, printed to whole seconds."""
    assert safety.cornea_limit(402.5) > 200.0 > safety.cornea_limit(403.5)


def test_radiance_of_a_bare_chip_computed_here():
    """20 mW/sr from .3 mm square at 850 nm: 111.4 mW·mm⁻²·sr⁻¹."""
    found = worst_group([[0.0, 0.0]], 0.020, 0.3e-3, 850e-9, 0.2)
    assert found.radiance * 1e-3 == pytest.approx(111.4, abs=0.05)


@pytest.mark.parametrize(("wavelength_nm", "weight"), [(850, 0.501), (940, 0.331)])
def test_retina_weight_from_memory(wavelength_nm, weight):
    assert safety.retina_weight(wavelength_nm * 1e-9) == pytest.approx(weight, abs=0.5e-3)


@pytest.mark.parametrize(
    ("duration_s", "limit", "on_axis_w_sr", "half_digit"),
    [(1001.0, 100, 4.0, 0.05), (100.0, 570, 22.8, 0.05), (10.0, 3200, 128, 0.5)],
)
def test_risk_groups_from_memory(duration_s, limit, on_axis_w_sr, half_digit):
    """The limits of the groups at 1000, 100 and 10 s, printed to two digits."""
    assert safety.cornea_limit(duration_s) == pytest.approx(limit, rel=0.01)
    assert limit * 0.2**2 == pytest.approx(on_axis_w_sr, abs=half_digit)


@pytest.mark.parametrize(
    ("duration_s", "smallest_mrad"), [(0.25, 1.7), (1.0, 3.4), (10.5, 11.0), (1e4, 11.0)]
)
def test_smallest_subtense_second_hand(duration_s, smallest_mrad):
    found = safety.smallest_subtense(duration_s)
    assert found * 1e3 == pytest.approx(smallest_mrad, abs=0.05)


def test_one_emitter_of_the_array_of_twenty_counts_for_the_retina():
    """58.7 of 545.5 mW·mm⁻²·sr⁻¹ beyond 1000 s for 20 × 160 mW/sr (maker's note, second-hand).

    The note does not print the face; the one that gives its radiance is used here, at 850 nm, and
    the array is set 20 mm apart, where one emitter is the worst grouping, as the note has it.
    """
    face_m = (safety.retina_weight(850e-9) * 0.160 / 58.7e3) ** 0.5
    found = worst_group(grid_places(5, 4, 20e-3), 0.160, face_m, 850e-9, 0.2, 1001.0)
    assert found.emitters == 1
    assert found.ratio == pytest.approx(58.7 / 545.5, abs=0.0001)
