"""Exposure, current, aperture and filter together: every end by dots worked out anew beyond it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from rushlight.jobs.light_rows import rounded_into, together_rows
from rushlight.jobs.load import load_rig
from rushlight.physics.stylus import held_direction
from rushlight.plan.figures import Names
from rushlight.plan.grid import with_fields
from rushlight.plan.light import FAINTEST_PEAK, GREATEST_STREAM_PX, dots, field_of_ways
from rushlight.plan.light_filters import filtered, light_together
from rushlight.plan.light_range import windows_of
from rushlight.plan.light_report import light_range
from rushlight.plan.light_together import MOST_ROOM, light_spans, spans_of
from rushlight.shelf.resolve import resolve

SCENARIOS = Path(__file__).resolve().parents[2] / "src/rushlight/jobs/scenarios"
EXPOSURE = 1.2e-4


def faults(rig, exposure_s: float, light: int = 0) -> set[str]:
    """What is wrong with a light's dots, from its field worked out anew for this very rig."""
    found = windows_of(rig, 0)  # for places and ways of holding alone
    held = held_direction(found.tilt_rad, found.lean_rad)[:, :, None]
    field = field_of_ways(rig, 0, found.places_m, held, found.field.weights)
    dot = dots(rig, 0, field, np.array([exposure_s]))
    seen = field.in_view[0, light]
    assert seen.any()
    wrong = set()
    if dot.grey_peak[0, light][seen].max() >= 1.0:
        wrong.add("clips")
    if dot.peak_over_noise[0, light][seen].min() < FAINTEST_PEAK:
        wrong.add("too weak")
    if dot.stream_px[0, light][seen].max() > GREATEST_STREAM_PX:
        wrong.add("too weak")
    return wrong


def at_current(rig, factor: float):
    """The rig with all its lights, and the lamps of its markers, changed by a factor."""
    e, c = rig.emitters, rig.cameras
    changed = with_fields(
        rig,
        emitters={
            "current_a": e.current_a * factor,
            "intensity_w_sr": e.intensity_w_sr * factor,
        },
    )
    return with_fields(changed, cameras={"lamp_w_sr": c.lamp_w_sr * factor})


def at_stop(rig, stop: float):
    return with_fields(rig, cameras={"f_number": np.full_like(rig.cameras.f_number, stop)})


def marked(rig):
    """The rig with balls of sheet in the light of a ring about the lens, in place of lit styli."""
    e, c = rig.emitters, rig.cameras
    return with_fields(
        rig,
        emitters={
            "intensity_w_sr": np.zeros_like(e.intensity_w_sr),
            "size_m": np.full_like(e.size_m, 10e-3),
            "retro_cd_lx_m2": np.broadcast_to([[12.0, 5.0], [6.0, 2.5]], (1, 2, 2, 2)),
            "retro_area_m2": np.full_like(e.retro_area_m2, 7.9e-5),
            "retro_ball": np.ones_like(e.retro_ball),
        },
        cameras={
            "lamp_w_sr": np.full_like(c.lamp_w_sr, 0.6),
            "lamp_radius_m": np.full_like(c.lamp_radius_m, 0.014),
        },
    )


RIGS = {
    "dim room": {"surface": {"ambient_w_m2": np.array([0.02])}},
    "light room": {"surface": {"ambient_w_m2": np.array([8.0])}},
    "coded stream": {"cameras": {"stream_shift_dn_px": np.full((1, 1, 5), 12.0)}},
}


@pytest.mark.parametrize("which", RIGS)
def test_each_end_of_each_range_serves_and_beyond_it_nothing_does(make_wall, which) -> None:
    rig = with_fields(make_wall(), **RIGS[which])
    found = spans_of(rig, 0, windows_of(rig, 0), EXPOSURE)
    ended = set()
    for light in range(2):
        for setting, apply in (
            ("exposure", lambda value: (rig, value)),
            ("current", lambda value: (at_current(rig, value / 0.020), EXPOSURE)),
            ("aperture", lambda value: (at_stop(rig, value), EXPOSURE)),
        ):
            span = found[setting]
            for end, by, beyond in (
                (span.low[light], span.low_by[light], 0.99),
                (span.high[light], span.high_by[light], 1.01),
            ):
                assert np.isfinite(end)
                inside, outside = apply(end / beyond), apply(end * beyond)
                assert faults(*inside, light) == set(), (setting, end)
                if by in ("too weak", "clips"):
                    assert faults(*outside, light) == {by}, (setting, end)
                    ended.add((setting, by))
    assert len(ended) >= 4


def test_a_markers_lamps_light_the_wall_as_well(make_wall) -> None:
    rig = marked(make_wall())
    window = windows_of(rig, 0)
    exposure = 0.5 * float(window.greatest_s[0, 0])
    span = spans_of(rig, 0, window, exposure)["current"]
    ends = (span.low[0], span.low_by[0], 0.99), (span.high[0], span.high_by[0], 1.01)
    for end, by, beyond in ends:
        assert faults(at_current(rig, end / beyond / 0.020), exposure) == set()
        assert by == "part" or faults(at_current(rig, end * beyond / 0.020), exposure) == {by}
    assert (span.low_by[0], span.high_by[0]) == ("too weak", "clips")


def test_what_serves_is_ended_by_camera_and_part_too(make_wall) -> None:
    faint = make_wall(intensity_w_sr=[[1e-4] * 2], greatest_a=[[0.03] * 2])
    window = windows_of(faint, 0)
    span = spans_of(faint, 0, window, 2.0 * float(window.least_s.max()))["current"]
    assert span.high_by == ("part", "part") and span.high == pytest.approx([0.03] * 2)
    slow = make_wall(shortest_exposure_s=[[1e-4]])
    short = spans_of(slow, 0, windows_of(slow, 0), EXPOSURE)
    assert short["exposure"].low_by[0] == "camera" and short["exposure"].low[0] == 1e-4
    # A part that bears less than it takes: none serves.
    window = windows_of(faint, 0)
    none = spans_of(faint, 0, window, 0.5 * float(window.least_s.max()))
    assert np.all(np.isnan(none["current"].low))
    line = light_spans(none, {name: np.ones(2) for name in none}, [0, 1])[1]
    assert line.setting == "current" and line.low is None and line.high_by is None


def test_the_product_serves_however_exposure_and_current_share_in_it(make_wall) -> None:
    rig = make_wall(ambient_w_m2=[8.0], greatest_a=[[10.0] * 2])
    stop = 2.4
    span = spans_of(rig, 0, windows_of(rig, 0), EXPOSURE)["product"]
    rng = np.random.default_rng(1)
    shares = [MOST_ROOM, 1.0, 0.1, *rng.uniform(0.02, MOST_ROOM, 5)]
    for end, beyond in ((span.low[0], 0.99), (span.high[0], 1.01)):
        for share in shares:
            exposure = share * EXPOSURE
            current = end / beyond * stop**2 / exposure
            assert faults(at_current(rig, current / 0.020), exposure) == set(), share
    # With the most of the room's light nothing beyond serves, so the range is no narrower than due.
    for end, beyond, by in ((span.low[0], 0.99, "too weak"), (span.high[0], 1.01, "clips")):
        exposure = MOST_ROOM * EXPOSURE
        current = end * beyond * stop**2 / exposure
        assert faults(at_current(rig, current / 0.020), exposure) == {by}


def test_no_aperture_serves_where_the_exposure_is_far_off(make_wall) -> None:
    rig = make_wall()
    found = spans_of(rig, 0, windows_of(rig, 0), 1e-9)["aperture"]
    assert np.all(np.isnan(found.low)) and np.all(np.isnan(found.high))


def test_an_aperture_that_serves_lies_elsewhere_than_the_planned(make_wall) -> None:
    rig = make_wall()
    found = spans_of(rig, 0, windows_of(rig, 0), 1e-3)["aperture"]
    assert faults(rig, 1e-3) == {"clips"}
    assert found.low[0] > 2.4 and found.low_by[0] == "clips"


@pytest.fixture(scope="module")
def barn():
    rig, shelf = load_rig(SCENARIOS / "barn-wall")
    return rig, shelf, resolve(rig, shelf)


def test_every_filter_and_none_has_its_exposures_or_says_why_not(barn) -> None:
    rig, shelf, resolved = barn
    names = Names(rig.name, ("beam",), ("stylus-wren", "stylus-ash"))
    window = windows_of(resolved, 0)
    groups = [[0], [1], [0, 1]]
    told = light_together(resolved, 0, window, 1.1e-4, names, groups, filtered(rig, shelf))
    assert [one.carried for one in told] == ["stylus-wren", "stylus-ash", None]
    assert [one.filter for one in told[-1].filters] == [
        *(part.id for part in shelf.of_kind("filter")), None,
    ]  # fmt: skip
    by_id = {one.filter: one for one in told[-1].filters}
    assert by_id["long-pass-930"].low_s is None and "blocks" in by_id["long-pass-930"].note
    for name in ("long-pass-850", "band-850-50", None):
        fitted = next(each.rig for each in filtered(rig, shelf) if each.filter == name)
        one = by_id[name]
        assert one.planned is (name == "long-pass-850")
        for light in (0, 1):
            assert faults(fitted, one.low_s * 1.01, light) == set()
            assert faults(fitted, one.high_s * 0.99, light) == set()
        assert {"clips"} in [faults(fitted, one.high_s * 1.01, light) for light in (0, 1)]
    # What passes more light clips sooner.
    assert by_id[None].high_s < by_id["long-pass-850"].high_s < by_id["band-850-50"].high_s
    assert by_id[None].passes > by_id["long-pass-850"].passes > by_id["band-850-50"].passes


def test_the_report_holds_it_and_what_is_shown_serves(barn) -> None:
    rig, shelf, resolved = barn
    names = Names(rig.name, ("beam",), ("stylus-wren", "stylus-ash"))
    light = light_range(rig, shelf, resolved, np.array([[1.1e-4]]), names)
    assert [one.carried for one in light.together] == [one.carried for one in light.windows]
    whole = {span.setting: span for span in light.together[-1].spans}
    for setting, span in whole.items():
        assert span.low < span.planned < span.high, setting
        for one in light.together[:2]:
            own = next(each for each in one.spans if each.setting == setting)
            assert own.low <= span.low + 1e-15 and own.high >= span.high - 1e-15
    window = light.windows[-1]
    assert whole["exposure"].high == pytest.approx(window.greatest_s)
    assert whole["exposure"].low == pytest.approx(max(window.least_s, window.shortest_s))
    current = whole["current"]
    shown = (
        float(rounded_into(current.low, 1e3, up=True)),
        float(rounded_into(current.high, 1e3, up=False)),
    )
    assert 1e3 * current.low <= shown[0] < shown[1] <= 1e3 * current.high
    rows = {row[0]: row[1:] for row in together_rows(light)}
    assert rows["current [mA]"][0] == "20"
    assert rows["current [mA]"][2] == f"{shown[1]:g} (else clips)"
    assert rows["with long-pass-930 [ms]"][1] == "none serves"
    assert "with long-pass-850 [ms]" not in rows


@pytest.mark.parametrize(
    ("value", "up", "shown"), [(1.7031, True, "1.71"), (13.87, False, "13.8"), (0.1, True, "0.1")]
)
def test_ends_are_rounded_into_the_range(value, up, shown) -> None:
    assert rounded_into(value, 1.0, up) == shown
