"""Held touches in streams of dots, and their beacons."""

from __future__ import annotations

import numpy as np
import pytest

from rushlight.errors import RushlightError
from rushlight.records.dots import REASONS, Dots
from rushlight.records.session import ShownGoal
from rushlight.register.holds import find_holds, match_goals, match_in_order, with_own_glow

FRAME_S = 1 / 30
NOISE_PX = 0.05


def dots_at(places, flux=1000.0, reason=0, cov_px2=NOISE_PX**2):
    places = np.reshape(places, (-1, 2))
    count = len(places)
    return Dots(
        xy=places,
        cov=np.tile(cov_px2 * np.eye(2), (count, 1, 1)),
        flux=np.broadcast_to(flux, count),
        width=np.ones((count, 3)),
        peak=np.full(count, 90.0),
        saturated=np.zeros(count, int),
        quality=np.ones(count),
        reason=np.full(count, reason),
    )


def film(*spells, length_s=10.0, seed=1):
    """Frames in which a light stands at (x, y) from a time to a time: (x, y, from, until, flux)."""
    rng = np.random.default_rng(seed)
    frames = []
    for time_s in np.arange(0, length_s, FRAME_S):
        lit = [spell for spell in spells if spell[2] <= time_s < spell[3]]
        places = [np.array(spell[:2]) + NOISE_PX * rng.standard_normal(2) for spell in lit]
        frames.append((round(time_s * 1e9), dots_at(places, [spell[4] for spell in lit])))
    return frames


def goal(x_m, from_s, until_s):
    return ShownGoal(
        carried="stylus", block="touches", trial=0, place_m=(x_m, 0.5),
        from_ns=round(from_s * 1e9), until_ns=round(until_s * 1e9),
    )  # fmt: skip


def test_each_held_light_is_found_at_its_mean():
    holds, findings = find_holds(film((100, 50, 1.0, 1.6, 1e3), (300, 200, 2.0, 2.6, 1e3)))
    assert findings == []
    assert [hold.frames for hold in holds] == [16, 16]
    assert np.allclose([hold.px for hold in holds], [[100, 50], [300, 200]], atol=0.06)
    for hold in holds:
        assert NOISE_PX**2 / 16 * 0.99 < hold.px_cov[0, 0] < 4 * NOISE_PX**2 / 16


def test_the_mean_is_as_uncertain_as_stated_or_as_scattered_whichever_is_greater():
    rng = np.random.default_rng(2)
    steps = 0.4 * rng.standard_normal((20, 2))
    frames = [
        (round(i * FRAME_S * 1e9), dots_at(np.array([100, 50]) + step))
        for i, step in enumerate(steps)
    ]
    (hold,), _ = find_holds(frames)
    assert hold.px_cov[0, 0] > 10 * NOISE_PX**2 / hold.frames


def test_passing_lights_and_short_taps_are_no_holds():
    moving = [(round(i * FRAME_S * 1e9), dots_at([100 + 1.5 * i, 50 + 0.8 * i])) for i in range(90)]
    assert find_holds(moving) == ([], [])
    assert find_holds(film((100, 50, 1.0, 1.2, 1e3))) == ([], [])


def test_a_light_that_slides_onto_the_beacon_counts_from_where_it_rests():
    slide = [dots_at([100 + 3.0 * i, 50]) for i in range(10)] + [dots_at([130, 50])] * 20
    frames = [(round(i * FRAME_S * 1e9), dots) for i, dots in enumerate(slide)]
    (hold,), _ = find_holds(frames)
    assert np.allclose(hold.px, [130, 50], atol=0.01)


def test_a_light_that_flickers_is_held_once():
    frames = film((100, 50, 1.0, 1.6, 1e3))
    frames[38] = (frames[38][0], Dots.none())
    holds, _ = find_holds(frames)
    assert [hold.frames for hold in holds] == [15]


def test_a_lamp_of_the_room_is_left_out_and_told():
    holds, findings = find_holds(
        film((100, 50, 1.0, 1.6, 1e3), (500, 20, 0.0, 10.0, 5e3), (200, 50, 3.0, 3.6, 1e3))
    )
    assert [round(float(hold.px[0])) for hold in holds] == [100, 200]
    assert len(findings) == 1 and "belongs to the room" in str(findings[0])


def test_of_two_lights_at_once_the_brighter_counts_and_the_other_is_told():
    holds, findings = find_holds(film((100, 50, 1.0, 1.6, 1e3), (400, 300, 1.1, 1.7, 300.0)))
    assert [round(float(hold.px[0])) for hold in holds] == [100]
    assert "beside a brighter light" in str(findings[0])


def test_doubtful_dots_are_no_touches():
    hot = REASONS.index("hot pixel")
    frames = [(round(i * FRAME_S * 1e9), dots_at([7, 7], reason=hot)) for i in range(60)]
    assert find_holds(frames) == ([], [])


def test_dots_of_unknown_covariance_still_make_holds():
    rng = np.random.default_rng(3)
    frames = [
        (
            round(i * FRAME_S * 1e9),
            dots_at([100, 50] + 0.1 * rng.standard_normal(2), cov_px2=np.nan),
        )
        for i in range(20)
    ]
    (hold,), _ = find_holds(frames)
    assert np.all(np.isfinite(hold.px_cov)) and np.trace(hold.px_cov) > 0


def test_no_frames_no_holds():
    assert find_holds([]) == ([], [])


def test_holds_go_to_the_beacons_that_stood_at_their_time():
    holds, _ = find_holds(film((100, 50, 1.0, 1.6, 1e3), (300, 200, 3.0, 3.6, 1e3)))
    goals = [goal(0.2, 0.6, 1.6), goal(0.4, 1.6, 2.6), goal(0.6, 2.6, 3.7)]
    pairs, findings = match_goals(holds, goals)
    assert [(round(g.place_m[0], 1), round(float(h.px[0]))) for g, h in pairs] == [
        (0.2, 100),
        (0.6, 300),
    ]
    assert "(0.400, 0.500) m has no light held on it" in str(findings[0])


def test_a_second_hold_and_one_outside_all_beacons_are_told():
    holds, _ = find_holds(
        film((100, 50, 1.0, 1.9, 1e3), (110, 50, 2.2, 2.6, 1e3), (50, 50, 6.0, 6.6, 1e3))
    )
    pairs, findings = match_goals(holds, [goal(0.2, 0.6, 3.0)])
    assert [round(float(hold.px[0])) for _, hold in pairs] == [100]
    told = " ".join(str(finding) for finding in findings)
    assert "second, shorter hold" in told and "no beacon stood" in told


def test_holds_without_times_go_by_order_if_their_number_fits():
    holds, _ = find_holds(film((100, 50, 1.0, 1.6, 1e3), (300, 200, 3.0, 3.6, 1e3)))
    pairs = match_in_order(holds, [(0.1, 0.2), (0.3, 0.4)])
    assert [place for place, _ in pairs] == [(0.1, 0.2), (0.3, 0.4)]
    with pytest.raises(RushlightError, match="2 held touches does not match the 3 that"):
        match_in_order(holds, [(0.1, 0.2), (0.3, 0.4), (0.5, 0.6)])


def test_a_light_and_its_glow_are_one_dot_and_far_lights_are_not():
    seen = dots_at([[100, 50], [103, 50], [300, 200]], [300.0, 100.0, 50.0])
    together = with_own_glow(seen)
    assert np.allclose(together.xy, [[100.75, 50], [300, 200]])
    assert together.flux.tolist() == [400.0, 50.0]
    assert with_own_glow(Dots.none()).xy.shape == (0, 2)


def test_a_light_told_from_its_glow_in_some_frames_is_one_hold_without_complaint():
    one, two = dots_at([[100.75, 50]], 400.0), dots_at([[100, 50], [103, 50]], [300.0, 100.0])
    frames = [(round(i * FRAME_S * 1e9), two if i % 3 else one) for i in range(20)]
    (hold,), findings = find_holds(frames)
    assert findings == [] and hold.frames == 18
    assert np.allclose(hold.px, [100.75, 50])
