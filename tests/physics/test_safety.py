"""Estimates of the eye's exposure: limits meet, bands stay in order, words stay careful."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rushlight.physics import cautions, safety


@given(st.floats(102.0, 3000.0))
def test_time_limit_undoes_the_limit(irradiance):
    assert safety.cornea_limit(safety.time_limit(irradiance)) == pytest.approx(irradiance)


def test_time_limit_is_endless_up_to_the_long_limit():
    assert np.all(np.isinf(safety.time_limit([0.0, 50.0, 100.0])))
    assert safety.time_limit(100.5) == 1000.0


def test_retina_limits_run_on_from_one_another():
    assert safety.retina_limit_weak_stimulus(0.05, 5.0) == safety.retina_thermal_limit(0.05, 5.0)
    assert np.isnan(safety.retina_limit_weak_stimulus(0.05, 1e-6))
    assert np.isnan(safety.retina_thermal_limit(0.05, 11.0))


def test_subtense_stays_within_its_bounds():
    angle = safety.angular_subtense(np.geomspace(1e-5, 1, 30), 0.2, 1000.0)
    assert np.all((angle >= 0.011) & (angle <= 0.1)) and np.all(np.diff(angle) >= 0)


def test_retina_weight_is_unknown_outside_its_range():
    weight = safety.retina_weight([650e-9, 700e-9, 1050e-9, 1100e-9])
    assert np.isnan(weight[[0, 3]]).all()
    assert weight[[1, 2]] == pytest.approx([1.0, 10**-0.7])


def test_bands_climb_with_the_estimate():
    ladder = [
        "well below the exempt limit",
        "below the exempt limit",
        "close to the exempt limit",
        "above the exempt limit",
        "above the limit of risk group 1",
        "above the limit of risk group 2",
    ]
    found = safety.risk_band([5.0, 20.0, 60.0, 200.0, 600.0, 4000.0])
    assert found.tolist() == ladder
    assert safety.risk_band(1.0, 1.5) == "above the exempt limit"
    assert safety.risk_band(1.0, np.nan) == "not known"


def test_an_array_adds_up_at_the_cornea_but_not_on_the_retina():
    one = safety.eye_estimate(0.1, 1, 1e-3, 850e-9)
    many = safety.eye_estimate(0.1, 12, 1e-3, 850e-9)
    assert many.cornea_w_m2 == pytest.approx(12 * one.cornea_w_m2)
    assert many.retina_w_m2_sr == one.retina_w_m2_sr


def test_the_true_distance_can_be_far_worse_than_200_mm():
    near = safety.eye_estimate(0.020, 1, 0.3e-3, 850e-9, [0.2, 0.01])
    assert near.band.tolist() == ["below the exempt limit", "above the exempt limit"]
    assert near.cornea_ratio[1] == pytest.approx(2.0)


def test_short_stays_are_judged_by_their_own_limit():
    brief = safety.eye_estimate(0.5, 1, 1e-3, 850e-9, 0.05, 10.0)
    assert brief.cornea_ratio == pytest.approx(200.0 / (18_000 * 10**-0.75))


def test_no_text_ever_promises():
    texts = [*cautions.CAUTIONS.values(), *safety.risk_band([0, 20, 60, 200, 600, 4000.0, np.nan])]
    assert all("safe" not in text.lower() for text in texts)
    assert "estimates" in cautions.EYE_CAUTION and "qualified" in cautions.EYE_CAUTION
    assert {"eye", "cell", "mains", "height", "heat", "filter_glass", "motion"} <= set(
        cautions.CAUTIONS
    )
