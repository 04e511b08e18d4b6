"""How sure a plan is: spreads of toys with known answers, and of a small rig."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from rushlight.jobs.load import load_rig
from rushlight.plan import tolerance as rooms
from rushlight.plan.doubts import doubts_of
from rushlight.plan.evaluate import evaluate
from rushlight.plan.grid import places_of_grid
from rushlight.plan.single_build import build_errors_m, luck_count
from rushlight.plan.tolerance import targets_of, tolerance_of
from rushlight.plan.variance import doubt_left, draw, study, variance_left
from rushlight.shelf.resolve import first_wavelength_m, resolve
from rushlight.shelf.room_light import hours_of_sun, room_light, sun_from_anywhere

SLOPE = np.array([3.0, 1.0, 0.5])


def straight(z):
    return np.stack([z @ SLOPE + 10.0, -(z @ SLOPE)], axis=-1)


def bent(z):
    return np.exp(z @ SLOPE)[:, None]


def of_toy(model, draws=400, seed=1):
    return study(model, ["normal", "normal", "rectangular"], [0, 1, 1], 2, draws, seed)


def test_a_linear_toy_is_told_by_first_order():
    found = of_toy(straight, draws=20_000)
    assert found.first_std == pytest.approx(np.sqrt(10.25), rel=1e-12)
    assert found.std == pytest.approx(found.first_std, rel=0.05)
    assert found.share[:, 0] == pytest.approx([9 / 10.25, 1.25 / 10.25])
    assert found.linear() == [True, True]


def test_few_draws_of_a_linear_toy_are_not_taken_for_a_bend():
    assert all(of_toy(straight, draws=30, seed=seed).linear() == [True, True] for seed in range(20))


def test_a_bent_toy_is_said_to_be_bent():
    assert of_toy(bent).linear() == [False]


def test_variates_have_mean_0_and_deviation_1():
    z = draw(["normal", "rectangular"], 100_000, 3)
    assert z.mean(axis=0) == pytest.approx([0, 0], abs=0.02)
    assert z.std(axis=0) == pytest.approx([1, 1], abs=0.01)
    assert np.abs(z[:, 1]).max() <= np.sqrt(3.0)


def test_knowing_a_cause_removes_its_share():
    found = of_toy(straight, draws=20_000)
    base, apart = found.variates[:10_000], found.variates[10_000:]
    shared = np.where([True, False, False], base, apart)
    left = variance_left(straight(shared), straight(apart), straight(base))
    assert left == pytest.approx(1.0 - found.share[0], rel=0.05)


def test_knowing_a_cause_of_a_bent_toy_leaves_what_the_law_says():
    # y = exp(a + b): one less Sobol's index of a is, with A = E exp(2a) / (E exp a)² and B alike,
    # (A B − A) / (A B − 1); for normal variates of deviation s, A = exp(s²).
    rng = np.random.default_rng(4)
    base, apart = rng.standard_normal((2, 200_000, 2)) * [0.3, 0.5]
    shared = np.stack([base[:, 0], apart[:, 1]], axis=-1)
    left = variance_left(*(np.exp(z.sum(axis=1))[:, None] for z in (shared, apart, base)))
    first, second = np.exp(0.3**2), np.exp(0.5**2)
    assert left == pytest.approx((first * second - first) / (first * second - 1), rel=0.03)


def test_a_yes_or_no_of_known_probability():
    # A coin whose bias is one of two, equally likely: knowing which leaves the coin's own luck.
    rng = np.random.default_rng(5)
    base, apart = rng.choice([0.2, 0.9], (2, 100_000))
    mean = 0.55
    within = (0.2 * 0.8 + 0.9 * 0.1) / 2
    assert doubt_left(base, apart, base) == pytest.approx(within / (mean * (1 - mean)), rel=0.02)
    assert doubt_left(apart, apart, base) == 1.0


def test_what_never_varies_has_no_share():
    assert np.isnan(variance_left(*np.ones((3, 9, 1)))).all()
    assert np.isnan(doubt_left(*np.ones((3, 9))))
    found = study(lambda z: np.ones((len(z), 1)), ["normal"], [0], 1, 9, 1)
    assert found.linear() == [None] and np.isnan(found.share).all()


def test_unknown_values_are_left_out_not_counted_as_0():
    found = study(lambda z: np.where(z > 0, z, np.nan), ["normal"], [0], 1, 2000, 1)
    assert found.std == pytest.approx([np.sqrt(1 - 2 / np.pi)], rel=0.06)  # half-normal


@pytest.fixture
def barn(examples, monkeypatch):
    monkeypatch.setattr(rooms, "COARSE", {"columns": 2, "rows": 2, "tilts": 2, "leans": 3})
    return load_rig(examples / "barn-wall")


def some(rig, shelf, *names):
    return [d for d in doubts_of(rig, shelf, resolve(rig, shelf)) if d.name in names]


def test_without_doubts_a_target_is_met_always_or_never(barn):
    rig, shelf = barn
    found = tolerance_of(rig, shelf, draws=25, doubts=[])
    assert {target.probability for target in found.targets} <= {0.0, 1.0}
    assert all(one.std in (0.0, None) and one.linear is None for one in found.measures)
    assert found.measure_first is None


def test_the_same_seed_gives_the_same_result_and_another_does_not(barn):
    rig, shelf = barn
    doubts = some(rig, shelf, "half-angle", "camera-delay")
    first, again, other = (
        tolerance_of(rig, shelf, draws=5, seed=seed, doubts=doubts) for seed in (4, 4, 5)
    )
    assert first == again
    assert first.measures != other.measures


def test_builds_scatter_as_the_budget_says(wall):
    ev = evaluate(wall, 3, 2)
    luck = np.random.default_rng(3).standard_normal((len(wall), 4000, luck_count(ev)))
    errors = build_errors_m(ev, luck)
    over_builds = np.sqrt(np.mean(errors**2, axis=1))
    assert over_builds == pytest.approx(ev.error_m["all"], rel=0.04)
    # One place of one build is off by its own amount, unlike the mean over builds.
    assert np.std(errors, axis=1).min() > 0.1 * over_builds.max()


def test_without_luck_a_build_misses_by_its_offset_and_what_varies_alone(wall):
    ev = evaluate(wall, 3, 2)
    errors = build_errors_m(ev, np.zeros((len(wall), 1, luck_count(ev))))[:, 0]
    left = sum(ev.error_m[one] ** 2 for one in ("centre", "tip", "pixel"))
    assert errors == pytest.approx(np.sqrt(left), rel=1e-6)


def test_few_touches_scatter_about_what_many_tell(wall):
    ev = evaluate(wall, 3, 2)
    luck = np.random.default_rng(3).standard_normal((len(wall), 50, luck_count(ev)))
    rng = np.random.default_rng(4)
    few, more = (build_errors_m(ev, luck, touches, rng) ** 2 for touches in (4, 400))
    many = build_errors_m(ev, luck) ** 2
    assert few.mean() == pytest.approx(many.mean(), rel=0.03)
    assert np.std(more - many) == pytest.approx(np.std(few - many) / 10.0, rel=0.15)


def test_a_cause_known_leaves_nothing_of_what_it_alone_makes(barn):
    rig, shelf = barn
    found = tolerance_of(rig, shelf, draws=20, doubts=some(rig, shelf, "half-angle"))
    (cause,) = found.causes
    assert cause.share["rms-error"] == pytest.approx(1.0)
    assert cause.left["rms-error"] == pytest.approx(0.0, abs=1e-12)
    assert found.measure_first == "half-angle"


def test_a_doubt_that_was_said_takes_the_place_of_the_shelf_and_scales(barn):
    rig, shelf = barn
    names = ["camera-place", "camera-aim", "focal-length", "sensitivity", "camera-delay",
             "exposure", "intensity", "half-angle", "ambient", "people"]  # fmt: skip
    small, large = (
        {d.name: d for d in doubts_of(rig, shelf, resolve(rig, shelf), dict.fromkeys(names, std))}
        for std in (0.01, 0.02)
    )
    assert all(small[name].source == "as you said" for name in names)
    assert not any(small[name].own_choice for name in names)
    rig_as_planned = resolve(rig, shelf).with_exposure(np.array([[2e-3]]))
    for name in names:
        moved = [
            doubt.moves(rig_as_planned, np.ones((1, doubt.count)))
            for doubt in (small[name], large[name])
        ]
        steps = [
            sum(
                np.nansum(np.abs(np.asarray(after, float) - np.asarray(before, float)))
                for part in dataclasses.fields(rig_as_planned)
                for before, after in zip(
                    vars(getattr(rig_as_planned, part.name)).values(),
                    vars(getattr(one, part.name)).values(),
                    strict=True,
                )
            )
            for one in moved
        ]
        if name != "sensitivity":  # its full scale, much larger, moves too
            assert steps[1] == pytest.approx(2 * steps[0], rel=0.05), name
    dropped = doubts_of(rig, shelf, resolve(rig, shelf), {"cell": 0.0, "people": 0.0})
    assert not {"cell", "people"} & {doubt.name for doubt in dropped}


def test_the_camera_delay_moves_the_delay_alone(barn):
    rig, shelf = barn
    found = tolerance_of(rig, shelf, draws=20, doubts=some(rig, shelf, "camera-delay"))
    spreads = {one.name: one.std for one in found.measures}
    assert spreads["delay"] > 1.0
    assert spreads["rms-error"] == spreads["coverage"] == 0.0


def test_that_the_display_s_delay_is_not_doubted_is_said(barn):
    rig, shelf = barn
    resolved = resolve(rig, shelf).with_exposure(np.array([[2e-3]]))
    for doubt in doubts_of(rig, shelf, resolved):
        moved = doubt.moves(resolved, np.ones((1, doubt.count)))
        assert moved.surface.delay_s == resolved.surface.delay_s
    found = tolerance_of(rig, shelf, draws=5, doubts=[])
    assert any("display" in each and "not varied" in each for each in found.assumptions)


def test_every_doubt_moves_something_and_its_planned_variates_nothing(barn):
    rig, shelf = barn
    resolved = resolve(rig, shelf).with_exposure(np.array([[2e-3]]))
    doubts = doubts_of(rig, shelf, resolved)
    assert [doubt.name for doubt in doubts] == [
        "camera-place", "camera-aim", "focal-length", "sensitivity", "camera-delay", "exposure",
        "intensity", "half-angle", "cell", "ambient", "sun", "people",
    ]  # fmt: skip
    for doubt in doubts:
        as_planned = doubt.moves(resolved, np.full((1, doubt.count), doubt.planned))
        away = 1.0 if doubt.planned < 0.0 else -1.0
        moved = doubt.moves(resolved, np.full((1, doubt.count), away))
        same, changed = [], []
        for part in dataclasses.fields(resolved):
            for name, before in vars(getattr(resolved, part.name)).items():
                after = getattr(getattr(as_planned, part.name), name)
                same.append(np.allclose(before, after, rtol=1e-9, equal_nan=True))
                other = getattr(getattr(moved, part.name), name)
                changed.append(not np.allclose(before, other, rtol=1e-9, equal_nan=True))
        assert all(same), doubt.name
        assert any(changed), doubt.name


def test_a_small_error_of_doubted_dots_does_not_count_as_met(wall):
    # columns: rms, worst [mm], coverage [%], delay [ms], doubted; wanted: 8 mm, 90 %, 90 ms
    values = np.array(
        [[2, 4, 95, 60, 0], [2, 4, 95, 60, 1], [2, 9, 95, 60, 1], [2, np.nan, 0, 60, 0]], float
    )
    coverage, error, delay, every = targets_of(wall, values)
    assert (coverage.met, coverage.not_known) == (3, 0)
    assert (error.met, error.not_known) == (1, 2)
    assert delay.met == 4
    assert (every.met, every.not_known) == (1, 1)  # the last is refused by its coverage
    assert every.low < 0.25 < every.high


def test_the_sun_adds_at_any_hour_what_its_hours_give(barn):
    """Over all hours the mean of what is added is the mean of the hours; a curtain adds nothing."""
    rig, shelf = barn
    resolved = resolve(rig, shelf)
    (doubt,) = some(rig, shelf, "sun")
    at = places_of_grid(resolved.surface.size_m, 9, 6)[0]
    days = hours_of_sun(rig, shelf, rig.cameras[0], first_wavelength_m(rig, shelf), at)
    hours = np.concatenate([light.mean(axis=1) for _, light in days.values()])
    used = resolved.surface.ambient_w_m2
    added = np.concatenate(
        [
            doubt.moves(resolved, np.array([[z]])).surface.ambient_w_m2 - used
            for z in np.sqrt(3.0) * np.linspace(-1.0, 1.0, 801)
        ]
    )
    assert added.min() == 0.0 and added.max() == pytest.approx(hours.max())
    assert added.mean() == pytest.approx(hours.mean(), rel=0.02)  # straight lines between
    assert np.mean(added > 0.0) == pytest.approx(np.mean(hours > 0.0), abs=0.01)
    curtained = rig.model_copy(
        update={
            "room": rig.room.model_copy(
                update={
                    "windows": [
                        each.model_copy(update={"light": "dark"}) for each in rig.room.windows
                    ]
                }
            )
        }
    )
    assert not some(curtained, shelf, "sun")


@pytest.mark.parametrize("missing", [("facing",), ("latitude",), ("facing", "latitude")])
def test_without_bearing_the_sun_is_drawn_from_wherever_the_plan_warns_of_it(barn, missing):
    """As bright at most as the plan's worst, and its share of directions is that which brings it
    in; it makes targets less likely."""
    rig, shelf = barn
    room = rig.room.model_copy(update=dict.fromkeys(missing))
    lost = rig.model_copy(update={"room": room})
    resolved = resolve(lost, shelf)
    (doubt,) = some(lost, shelf, "sun")
    at = places_of_grid(resolved.surface.size_m, 9, 6)[0]
    light = room_light(lost, shelf, lost.cameras[0], first_wavelength_m(lost, shelf), at)
    worst = (light.sun() - light.told()).mean()
    ends = np.sqrt(3.0) * np.linspace(-1.0, 1.0, 401)
    batch = resolved.take(np.zeros(401, int))
    added = doubt.moves(batch, ends[:, None]).surface.ambient_w_m2 - resolved.surface.ambient_w_m2
    assert added.min() == 0.0 and added.max() == pytest.approx(worst) and worst > 1.0
    lit = sun_from_anywhere(lost, shelf, lost.cameras[0], first_wavelength_m(lost, shelf), at)
    assert np.mean(added > 0.0) == pytest.approx(np.mean(lit.mean(axis=1) > 0.0), abs=0.01)
    assert "directions up to 62° above the horizon" in doubt.spread
    assert "not being given" in doubt.source and "facing and latitude" in doubt.measure
    others = [each for each in doubts_of(lost, shelf, resolved) if each.name != "sun"]
    alike = [tolerance_of(lost, shelf, 40, doubts=each) for each in ([*others, doubt], others)]
    assert alike[0].targets[-1].met < alike[1].targets[-1].met


def test_what_to_measure_first_is_what_decides_and_the_sentence_names_it(barn):
    """The width of the light's beam moves every error, the camera's delay none of them."""
    rig, shelf = barn
    found = tolerance_of(
        rig, shelf, draws=40, doubts=some(rig, shelf, "camera-delay", "half-angle")
    )
    left = {cause.name: cause.left["worst-error"] for cause in found.causes}
    assert left["half-angle"] < 0.5 < left["camera-delay"]
    assert found.measure_first == "half-angle"
    (cause,) = [each for each in found.causes if each.name == "half-angle"]
    assert any(cause.measure in sentence for sentence in found.sentences)
