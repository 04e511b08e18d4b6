"""The doubt that a registration is predicted to leave, against that of the registration itself."""

from pathlib import Path

import numpy as np
import pytest

from rushlight.jobs.load import load_rig
from rushlight.physics.sighting import DOT_FLOOR_PX
from rushlight.plan.space_design import design_of
from rushlight.plan.space_light import space_dots, space_light
from rushlight.plan.space_register import registered
from rushlight.register import space_swing
from rushlight.register.space_marks import (
    Sightings,
    anchor_of_look,
    anchor_of_placing,
    marks_model,
)
from rushlight.register.space_solve import known_beforehand, solve
from rushlight.register.space_swing import Swing, swing_model
from rushlight.shelf.resolve_space import resolve_space

SCENARIOS = Path(__file__).parents[2] / "src/rushlight/jobs/scenarios"


def dots_of(space, design, exposure):
    """Exact dots (N, C, L, 2) of a design, and the covariance of their mean over a hold."""
    dots = space_dots(space, space_light(space, design.thing, design.poses), exposure)
    px = np.where(dots.seen[..., None], dots.light.sight.px, np.nan)
    cov = np.where(dots.seen[..., None, None], dots.cov_px2, np.eye(2)) / design.frames
    # Only of held dots is something left over that averaging does not take away.
    floor_px = DOT_FLOOR_PX if design.frames > 1 else 0.0
    cov = cov + floor_px**2 * np.eye(2)
    return np.moveaxis(px, 0, 1), np.moveaxis(cov, 0, 1)


@pytest.mark.parametrize("scenario", ["paper-theatre", "ferry-model"])
def test_looks_and_placings(scenario):
    space = resolve_space(*load_rig(SCENARIOS / scenario))
    design, exposure = design_of(space), np.array([1.5e-4])
    thing = design.thing
    px, cov = dots_of(space, design, exposure)
    rows, cameras, lights = px.shape[:3]
    many = cameras * lights
    held = design.poses[:, :3, :3] @ thing.point_m() + design.poses[:, :3, 3]
    told = [
        anchor_of_look(np.array(mark.from_m), np.array(mark.to_m), thing)
        if design.method == "looks"
        else anchor_of_placing(np.array(mark.from_m), thing)
        for mark in design.marks
    ]
    # Along a look the eye stands where the plan has it.
    told = [each._replace(place_m=place) for each, place in zip(told, held, strict=True)]
    sightings = Sightings(
        tuple(told),
        np.tile(np.repeat(np.arange(cameras), lights), (rows, 1)),
        np.tile(np.tile(np.arange(lights), cameras), (rows, 1)),
        np.zeros(rows, int),
        px.reshape(rows, many, 2),
        cov.reshape(rows, many, 2, 2),
        thing.lights_m,
        thing.lights_std_m,
        thing.points_m[:1],
        thing.points_std_m[:1],
    )
    known = known_beforehand(space)
    found = solve(known, marks_model(known, sightings), np.array(design.poses))
    agree(registered(space, design, exposure).whole, found.cov)


def test_a_swing(monkeypatch):
    # The registration allows the bar to bend a little within a swing; the plan does not.
    monkeypatch.setattr(space_swing, "RIGID_STD_M", 2e-6)
    space = resolve_space(*load_rig(SCENARIOS / "choir-baton"))
    design, exposure = design_of(space), np.full(2, 1.5e-4)
    bar = design.thing
    px, cov = dots_of(space, design, exposure)
    ends = np.einsum("nij,lj->nli", design.poses[:, :3, :3], bar.lights_m)
    ends = ends + design.poses[:, None, :3, 3]
    length = float(np.linalg.norm(bar.lights_m[1] - bar.lights_m[0]))
    std = float(np.linalg.norm(bar.lights_std_m))
    swing = Swing(px, cov, np.zeros_like(px), length, std)
    known = known_beforehand(space)
    found = solve(known, swing_model(known, swing), ends)
    agree(registered(space, design, exposure).whole, found.cov)


def agree(predicted, found):
    """Deviations within a tenth, along the axes and along every direction that matters."""
    std = np.sqrt(np.diag(found))
    free = std > 1e-12
    np.testing.assert_allclose(np.sqrt(np.diag(predicted))[free], std[free], rtol=0.1)
    np.testing.assert_allclose(np.sqrt(np.diag(predicted))[~free], 0.0, atol=1e-9)
    scale = np.outer(std[free], std[free])
    ours, theirs = (each[np.ix_(free, free)] / scale for each in (predicted, found))
    np.testing.assert_allclose(ours, theirs, atol=0.15)
