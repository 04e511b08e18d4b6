"""Frames, detector and predicted centre agree: self-consistency of three parts, not proof.

The frame holds an emitter and two patches; the detector fits one round spot to it; `mixture`
predicts where such a fit settles. None of the three knows the others' code.
"""

import numpy as np

from rushlight.physics.mixture import centre_of_mixture
from rushlight.see.detect import Detector
from rushlight.see.sensor import SensorNoise
from rushlight.simulate import scripts
from rushlight.simulate.expose import SUB_STEPS, expose
from rushlight.simulate.footage import sensor_of
from rushlight.simulate.optics import background

GAIN, READ_E, BLACK = 40.0, 6.0, 6.0


def predicted(world, spots):
    """Where a fit of one spot should settle on an emitter and its two patches [px]."""
    lights = spots[[0, SUB_STEPS, SUB_STEPS + 1]]
    cov = lights[:, [2, 3, 3, 4]].reshape(-1, 2, 2)
    pixel = np.rint(lights[0, :2])
    level = background(world)[int(pixel[1]), int(pixel[0])]
    fit = centre_of_mixture(lights[:, :2] - pixel, cov, lights[:, 5], level, READ_E, GAIN)
    return fit.centre_px + pixel


def test_the_detector_finds_a_touch_where_the_mixture_predicts(make_world):
    world = make_world(5, ("tip", "lens", "flatness"))
    script = scripts.grid(world, 6, 4)
    sensor = sensor_of(world, script)
    detect = Detector(640, 480, SensorNoise(GAIN, READ_E / GAIN, BLACK))
    off, from_emitter = [], []
    for spell in script.timelines[0].lit_s:
        exposed = expose(world, script, np.array([spell.mean()]))
        dots = detect(sensor.expose(exposed.spots[0])).good()
        emitter_px = exposed.states[0].px[0]
        near = np.linalg.norm(dots.xy - emitter_px, axis=1) < 5
        # Where emitter and beam patch lie well apart the detector may show both, or neither.
        if near.sum() == 1:
            centre = predicted(world, exposed.spots[0, : SUB_STEPS + 2])
            off.append(dots.xy[near][0] - centre)
            from_emitter.append(centre - emitter_px)
    assert len(off) >= 0.75 * len(script.timelines[0].lit_s)
    assert np.sqrt(np.mean(np.square(off))) < 0.03
    # The patches draw the centre away by far more than that, so the agreement says something.
    assert np.sqrt(np.mean(np.square(from_emitter))) > 0.2
