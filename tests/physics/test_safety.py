"""Estimates of the eye's exposure: limits meet, and words stay careful."""

import numpy as np
import pytest

from rushlight.physics import cautions, safety


def test_retina_limits_run_on_from_one_another():
    assert safety.retina_limit_weak_stimulus(0.05, 5.0) == safety.retina_thermal_limit(0.05, 5.0)
    assert np.isnan(safety.retina_limit_weak_stimulus(0.05, 1e-6))
    assert np.isnan(safety.retina_thermal_limit(0.05, 11.0))


def test_the_smallest_angle_grows_with_the_stay_and_then_no_more():
    angle = safety.smallest_subtense(np.geomspace(1e-3, 1e4, 60))
    assert np.all(np.diff(angle) >= 0)
    assert angle[0] == 1.7e-3 and angle[-1] == 11e-3


def test_retina_weight_is_unknown_outside_its_range():
    weight = safety.retina_weight([650e-9, 700e-9, 1050e-9, 1100e-9])
    assert np.isnan(weight[[0, 3]]).all()
    assert weight[[1, 2]] == pytest.approx([1.0, 10**-0.7])


def test_a_short_stay_is_allowed_more_than_a_long_one():
    limits = safety.cornea_limit(np.geomspace(1.0, 1e4, 60))
    assert np.all(np.diff(limits) <= 0) and limits[-1] == 100.0


def test_no_text_ever_promises():
    texts = cautions.CAUTIONS.values()
    assert all("safe" not in text.lower() for text in texts)
    assert "estimates" in cautions.EYE_CAUTION and "qualified" in cautions.EYE_CAUTION
    assert {"eye", "cell", "mains", "height", "heat", "filter_glass", "motion"} <= set(
        cautions.CAUTIONS
    )
