"""What compression of the pictures does to the error budget."""

from __future__ import annotations

import dataclasses
import functools

import numpy as np
import pytest

from rushlight.jobs.load import load_rig
from rushlight.plan.evaluate import evaluate
from rushlight.plan.light import GREATEST_STREAM_PX
from rushlight.plan.planning import plan_rig
from rushlight.plan.stream import centre_factor
from rushlight.records.rig import Stream
from rushlight.see.detect import Detector
from rushlight.simulate import scripts
from rushlight.simulate.cast import cast_of
from rushlight.simulate.footage import frames
from rushlight.simulate.world import draw_world
from rushlight.track.rig import noise_of

MJPEG = Stream(codec="mjpeg", quality=5)
FEW = {"columns": 3, "rows": 2, "tilts": 2, "leans": 3}


def through(rig, shift_dn_px: float, stays: float = 0.0):
    """What can be expected of a wall whose camera's stream shifts dots so."""
    cameras = rig.cameras.replace(
        stream_shift_dn_px=np.full((1, 1, 5), shift_dn_px), stream_stays=[[stays]]
    )
    return evaluate(dataclasses.replace(rig, cameras=cameras), **FEW)


def test_shift_adds_to_the_centre_in_squares(wall) -> None:
    raw, sent = evaluate(wall, **FEW), through(wall, 3.0)
    assert np.all(raw.stream_px == 0.0)
    assert np.all(sent.stream_px > 0.0)
    np.testing.assert_allclose(sent.centre_px**2, raw.centre_px**2 + 2.0 * sent.stream_px**2)
    assert np.all(sent.error_m["centre"] > raw.error_m["centre"])
    for cause in ("lens", "flatness", "tip", "pixel"):
        np.testing.assert_allclose(sent.error_m[cause], raw.error_m[cause], rtol=0.05)


def test_shift_is_that_of_the_dots_peak(make_wall) -> None:
    """Half the light is half the peak is twice the shift, at a given exposure."""
    bright, dim = (
        through(make_wall(exposure_s=[[1e-3]], intensity_w_sr=[[intensity] * 2]), 3.0)
        for intensity in (0.030, 0.015)
    )
    np.testing.assert_allclose(dim.stream_px, 2.0 * bright.stream_px, rtol=0.01)
    # The brightest of the ways of holding, of 10 000 electrons in steps of 40: its shift is least.
    peak_dn = (bright.grey_peak * 10_000.0 - bright.background_e) / 40.0
    assert np.all(bright.stream_px >= 3.0 / peak_dn)
    assert np.all(bright.stream_px <= 3.0 / peak_dn * 4.0)


def test_what_stays_is_not_averaged_away_while_registering(wall) -> None:
    stays, goes = through(wall, 60.0, 1.0), through(wall, 60.0, 0.0)
    np.testing.assert_allclose(stays.error_m["centre"], goes.error_m["centre"])
    assert np.all(stays.error_m["registration"] > goes.error_m["registration"])
    # A touch rests for 36 frames: of what goes 1/36 is left, of what stays all.
    touch_m2 = [ev.views[0].error.touch_cov_m2[0] for ev in (evaluate(wall, **FEW), goes, stays)]
    added_m2 = np.trace(touch_m2[1:] - np.array(touch_m2[0]), axis1=-2, axis2=-1)
    np.testing.assert_allclose(added_m2[1], 36.0 * added_m2[0], rtol=1e-6)


def test_where_the_shift_is_too_great_a_place_is_not_covered(wall) -> None:
    ev = through(wall, 1000.0)
    assert np.all(ev.stream_px > GREATEST_STREAM_PX)
    assert ev.weak[ev.in_view].all()
    assert ev.coverage[0] == 0.0


@pytest.fixture(scope="module")
def planned(examples):
    rig, shelf = load_rig(examples / "barn-wall")

    @functools.cache
    def plan(stream):
        camera = rig.cameras[0].model_copy(update={"stream": stream})
        sent = rig.model_copy(update={"cameras": [camera, *rig.cameras[1:]]})
        return plan_rig(sent, shelf, 3, 2)

    return plan


def notes(planned) -> dict[str, str]:
    return {one.code: str(one.finding()) for one in planned.plan.findings}


def test_a_plan_names_what_compression_costs(planned) -> None:
    plan = planned(MJPEG)
    factor = centre_factor(plan.evaluation.views[0])
    assert factor > 1.0
    said = notes(plan)["stream-compression"]
    assert f"compression count: dot centre × {factor:.2g}" in said
    assert "cameras[0].stream = MJPEG quantiser 5" in said
    assert "simulated" in said
    raw = [advice for advice in plan.plan.advice if "raw pictures" in advice.change]
    assert [advice.cost for advice in raw] == ["free"]
    assert raw[0].error_after_mm <= raw[0].error_before_mm


def test_raw_pictures_are_not_spoken_of(planned) -> None:
    plan = planned(Stream(codec="raw"))
    assert centre_factor(plan.evaluation.views[0]) == 1.0
    assert not {"stream-compression", "stream-loses-dots"} & set(notes(plan))
    assert not any("raw pictures" in advice.change for advice in plan.plan.advice)


def test_a_stream_that_loses_dots_is_warned_of(planned) -> None:
    mild, hard = planned(MJPEG), planned(Stream(codec="h264", quality=28))
    worst = [float(one.evaluation.stream_px[one.evaluation.in_view].max()) for one in (mild, hard)]
    assert worst[0] < worst[1]
    for plan, shift_px in zip((mild, hard), worst, strict=True):
        assert ("stream-loses-dots" in notes(plan)) == (shift_px > GREATEST_STREAM_PX)


def test_the_shift_that_the_plan_counts_on_is_that_of_simulated_footage(planned, examples) -> None:
    """Self-consistency, no proof: the same coder made the table and the footage.

    The footage's dots are a tip and its glow on the wall, the table's plain Gaussians, and come
    out a fifth too well.
    """
    plan = planned(MJPEG)
    rig, _ = load_rig(examples / "barn-wall")
    resolved = plan.resolved.with_exposure(plan.evaluation.exposure_s)
    detect = None
    found = []
    for sent in (None, MJPEG):
        cast = cast_of(rig, resolved, 0)
        world = draw_world(resolved, 3, frozenset({"centre", "tip"}), cast=cast, camera=0)
        script = scripts.grid(world, 3, 2, hold_s=0.1)
        detect = detect or Detector(*world.size_px, noise_of(resolved, 0))
        found.append([detect(frame.image) for frame, _ in frames(world, script, sent)])
    shifts = []
    for raw, compressed in zip(*found, strict=True):
        for xy in raw.good().xy:
            apart = compressed.xy - xy
            nearest = np.linalg.norm(apart, axis=1).argmin() if len(apart) else None
            if nearest is not None and np.linalg.norm(apart[nearest]) < 1.0:
                shifts.append(apart[nearest])
    assert len(shifts) > 100
    expected_px = np.sqrt(np.mean(plan.evaluation.stream_px[plan.evaluation.in_view] ** 2))
    assert 0.7 < np.sqrt(np.mean(np.square(shifts))) / expected_px < 1.6
