"""Arrays before the retina, bands and the projector's beam: properties and a count by hand."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rushlight.physics import eye_bands, eye_groups, projector_light, safety

FACE_M, WAVE_M = 0.3e-3, 850e-9


def by_hand(places, intensity, distance, duration):
    """The worst of all subsets of an array, each within the rectangle about it."""
    worst = 0.0
    least = float(safety.smallest_subtense(duration))
    for size in range(1, len(places) + 1):
        for chosen in itertools.combinations(range(len(places)), size):
            own = places[list(chosen)]
            angles = (np.ptp(own, axis=0) + FACE_M) / distance
            if np.any(angles > eye_groups.GREATEST_SUBTENSE_RAD) and size > 1:
                continue
            alpha = np.clip(angles, least, 0.1).mean()
            bright = 10 ** ((700 - 850) / 500) * intensity[list(chosen)].sum()
            bright /= distance**2 * angles.prod()
            limit = 6000 / alpha if duration > 10 else 50_000 / (alpha * duration**0.25)
            worst = max(worst, bright / limit)
    return worst


@settings(deadline=None, max_examples=40)
@given(
    st.integers(0, 2**31),
    st.integers(1, 6),
    st.floats(0.1, 1.0),
    st.sampled_from([1e-3, 0.1, 1e4]),
)
def test_the_worst_group_is_the_worst_of_all_subsets(seed, count, distance, duration):
    draw = np.random.default_rng(seed)
    places = draw.uniform(0, 0.03, (count, 2))
    intensity = draw.uniform(0.01, 0.5, count)
    found = eye_groups.worst_group(places, intensity, FACE_M, WAVE_M, distance, duration)
    # Edges are rounded to a nanometre, which is one part in ten thousand of the narrowest group.
    expected = by_hand(places, intensity, distance, duration)
    assert found.ratio == pytest.approx(expected, rel=2e-4)


@pytest.mark.parametrize("face_m", [FACE_M, 2.5e-3, 5e-3, 40e-3])
def test_one_emitter_is_its_own_radiance_over_the_limit_for_its_angle(face_m):
    found = eye_groups.worst_group([[0.0, 0.0]], 0.02, face_m, WAVE_M, 0.2)
    alpha = min(max(face_m / 0.2, 0.011), 0.1)
    weighted = 10 ** ((700 - 850) / 500) * 0.02 / face_m**2
    assert found.ratio == pytest.approx(weighted / (6000 / alpha))
    assert found.emitters == 1


def test_a_dense_array_is_worse_than_its_brightest_chip_and_a_loose_one_is_not():
    one = eye_groups.worst_group([[0.0, 0.0]], 0.1, FACE_M, WAVE_M, 0.2).ratio
    # 20 × 20 chips, face to face, fill 30 mrad: one large face of the same radiance.
    dense = eye_groups.worst_group(eye_groups.grid_places(20, 20, FACE_M), 0.1, FACE_M, WAVE_M, 0.2)
    loose = eye_groups.worst_group(eye_groups.grid_places(20, 20, 5e-3), 0.1, FACE_M, WAVE_M, 0.2)
    assert dense.ratio == pytest.approx(one * 30 / 11, rel=1e-6) and dense.emitters == 400
    assert loose.ratio == pytest.approx(one) and loose.emitters == 1


def test_many_places_laid_together_come_close_to_all_of_them(monkeypatch):
    places = eye_groups.ring_places(200, 0.02)
    few = eye_groups.worst_group(places, 0.1, 2e-3, WAVE_M, 0.6)
    monkeypatch.setattr(eye_groups, "MOST_EDGES", 110)
    exact = eye_groups.worst_group(places, 0.1, 2e-3, WAVE_M, 0.6)
    assert 0.75 * exact.ratio <= few.ratio <= exact.ratio * (1 + 1e-9)


@pytest.mark.parametrize(
    ("places", "intensity"), [(np.zeros((0, 2)), 0.1), (np.zeros((2, 2)), [0.1, 0.1, 0.1])]
)
def test_arrays_that_make_no_sense_are_refused(places, intensity):
    with pytest.raises(ValueError, match=r"places_m|intensity"):
        eye_groups.worst_group(places, intensity, FACE_M, WAVE_M, 0.2)


def test_visible_light_is_not_known():
    assert np.isnan(eye_groups.worst_group([[0, 0]], 0.1, FACE_M, 650e-9, 0.2).ratio)


@given(st.floats(1e-6, 1e6))
def test_factors_never_flatter(ratio):
    words = eye_bands.factor_words(ratio)
    factor = float(words.split()[0])
    if ratio <= 1:
        assert words.endswith("below") and factor <= 1 / ratio * (1 + 1e-9)
    else:
        assert words.endswith("above") and factor >= ratio * (1 - 1e-9)
    assert factor == pytest.approx(max(ratio, 1 / ratio), rel=0.1)


def test_no_band_approves():
    assert not any("safe" in str(word) for word in eye_bands.band_of([0.0, 0.1, 1.0, 2.0, np.nan]))
    assert eye_bands.factor_words(float("nan")) == eye_bands.NOT_KNOWN


def test_the_beam_is_no_brighter_close_by_and_fades_far_away():
    near, nearer, far = projector_light.blue_radiance(2e7, 0.025, [1.0, 0.5, 10.0])
    assert near == nearer > far
    assert projector_light.blue_time_limit(0.0) == np.inf
