"""Shares of standing scenes in which a light is hidden."""

from __future__ import annotations

import numpy as np
import pytest

from rushlight.jobs.load import load_rig
from rushlight.jobs.plan import planned_rig
from rushlight.physics.people import blocked_by_body
from rushlight.physics.shadow import hidden_by
from rushlight.plan.findings import Names
from rushlight.plan.grid import places_of_grid, with_fields
from rushlight.plan.shadow import ShadowField, scenes_of, shadow_field, shadow_of_rig
from rushlight.plan.shadow_report import shadow_findings
from rushlight.records.figure import find_figure
from rushlight.shelf.people import standing_outline_m
from rushlight.shelf.resolve import resolve

BEAM = np.array([[1.2, 1.6, 2.85]])


@pytest.fixture(scope="module")
def barn(examples):
    rig, shelf = load_rig(examples / "barn-wall")
    resolved = resolve(rig, shelf)
    return rig, resolved, places_of_grid(resolved.surface.size_m, 9, 6)[0]


@pytest.fixture(scope="module")
def scenes(barn):
    return scenes_of(*barn)


def test_shapes_and_bounds(scenes) -> None:
    field = shadow_field(scenes, np.array([BEAM[0], [0.0, 2.0, 1.0]]))
    assert field.alone.shape == field.together.shape == (2, 2, 54)
    assert field.everywhere.shape == field.std_error.shape == (2, 54)
    assert np.all((field.everywhere >= 0.0) & (field.everywhere <= 1.0))
    assert np.all(field.std_error <= 0.5 / np.sqrt(200) + 1e-12)


def test_more_people_hide_more_and_more_cameras_less(scenes) -> None:
    both = shadow_field(scenes, np.array([BEAM[0], [0.0, 2.0, 1.0]]))
    assert np.all(both.together >= both.alone)
    assert both.together.mean() > both.alone.mean()
    assert np.all(both.everywhere <= both.together.min(axis=1))
    alone = shadow_field(scenes, BEAM)
    assert both.everywhere.mean() < alone.everywhere.mean()
    np.testing.assert_array_equal(both.together[:, 0], alone.everywhere)


def test_the_same_seed_gives_the_same_and_another_nearly(barn, scenes) -> None:
    first = shadow_field(scenes, BEAM)
    again = shadow_field(scenes_of(*barn), BEAM)
    np.testing.assert_array_equal(first.everywhere, again.everywhere)
    other = shadow_field(scenes_of(*barn, seed=5), BEAM)
    assert not np.array_equal(first.everywhere, other.everywhere)
    gap = first.everywhere - other.everywhere
    # Each place a difference of two binomial shares of 200: root-mean-square at most 0.05.
    assert np.sqrt(np.mean(gap**2)) < 0.05


def test_people_stand_within_their_outline_and_move_with_the_hand(barn, scenes) -> None:
    rig, _, places = barn
    for index, person in enumerate(rig.people):
        outline = standing_outline_m(person)
        foot = scenes.own_m[index, :, :, 1][..., [0, 2]]
        assert np.all(foot >= outline.min(axis=0) - 1e-9)
        assert np.all(foot <= outline.max(axis=0) + 1e-9)
        along = foot[..., 0].mean(axis=0)
        assert np.corrcoef(along, places[:, 0])[0, 1] > 0.8


def test_hands_stay_off_the_light_and_arms_reach_it(scenes) -> None:
    grip = scenes.own_m[:, :, :, 7, 3:6]
    away = np.linalg.norm(grip - scenes.light_m, axis=-1)
    assert away.min() > 0.05
    assert away.max() < 0.6


def test_bodies_of_two_do_not_stand_within_each_other_where_avoidable(scenes) -> None:
    apart = np.linalg.norm(
        (scenes.own_m[:, :, :, 1, :3] - scenes.others_m[:, :, :, 1, :3])[..., [0, 2]], axis=-1
    )
    assert np.mean(apart < 0.4) < 0.05


def test_higher_and_nearer_is_hidden_less(scenes) -> None:
    low = shadow_field(scenes, np.array([[1.2, 0.6, 2.85]]))
    beam = shadow_field(scenes, BEAM)
    above = shadow_field(scenes, np.array([[1.2, 2.2, 1.2]]))
    assert low.everywhere.mean() > beam.everywhere.mean() > above.everywhere.mean()


def test_a_right_hander_is_hidden_less_from_the_right(barn, scenes) -> None:
    """The hand is to the right of the body: a camera there looks past the trunk."""
    left = shadow_field(scenes, np.array([[-1.0, 0.9, 1.5]])).alone[0, 0]
    right = shadow_field(scenes, np.array([[3.4, 0.9, 1.5]])).alone[0, 0]
    assert barn[0].people[0].hand == "right"
    assert right.mean() < left.mean()


def test_trunk_alone_agrees_with_an_upright_column(scenes) -> None:
    """Where the middle capsule of the trunk hides, the same column by the other formula does."""
    trunk = scenes.own_m[0, :, :, 1]
    ours = hidden_by(scenes.light_m[0], BEAM[0], trunk[..., None, :])
    height = trunk[..., 4] + trunk[..., 6] + 0.75
    column = np.stack([trunk[..., 0], trunk[..., 2], trunk[..., 6], height], axis=-1)
    np.testing.assert_array_equal(ours, blocked_by_body(BEAM[0], scenes.light_m[0], column, -0.75))


def test_unknown_sizes_leave_the_shadow_unknown(barn) -> None:
    rig, resolved, places = barn
    unknown = with_fields(resolved, people={"shoulder_m": np.array([[np.nan, 1.4]])})
    assert np.isnan(shadow_of_rig(rig, unknown, places).everywhere).all()
    with pytest.raises(ValueError, match="NaN"):
        scenes_of(rig, unknown, places)
    with pytest.raises(ValueError, match="1 scene"):
        scenes_of(*barn, count=0)


def test_plan_tells_of_it_beside_the_coverage(examples) -> None:
    document = planned_rig(examples / "barn-wall", (4, 3)).plan
    layers = np.array([one.of("shadow") for one in document.maps])
    mean = find_figure(document.figures, "shadow", statistic="mean")
    worst = find_figure(document.figures, "shadow", statistic="max")
    assert mean.value == pytest.approx(layers.mean())
    assert worst.value == pytest.approx(layers.max())
    coverage = [f for f in document.figures if f.name == "coverage" and not f.scope.carried]
    covered = np.array([one.of("covered") for one in document.maps])
    assert coverage[0].scope.condition is None
    assert coverage[0].value == pytest.approx(100.0 * covered.mean())
    assert coverage[1].value == pytest.approx(100.0 * ((covered == 1) & (layers <= 50.0)).mean())
    assert "shadow-likely" in [one.code for one in document.findings]


@pytest.mark.parametrize(
    ("share", "cameras", "codes"), [(0.4, 1, 0), (0.6, 1, 1), (0.6, 2, 1), (np.nan, 1, 0)]
)
def test_finding_names_the_remedy(share, cameras, codes) -> None:
    one = np.full((1, 4), share)
    each = np.repeat(one[:, None], cameras, axis=1)
    names = Names("barn", ("beam", "post")[:cameras], ("stylus-wren",))
    found = shadow_findings(ShadowField(each, each, one, one), names, "rig.toml")
    assert len(found) == codes
    for each_one in found:
        assert "higher" in str(each_one)
        assert ("second camera" in str(each_one)) == (cameras == 1)
