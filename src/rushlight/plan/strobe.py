"""What a light gains that is lit only while its camera exposes: the same current, less sun."""

from __future__ import annotations

import numpy as np

from rushlight.physics.exposure import pulse_gain
from rushlight.plan.figures import Names, finite
from rushlight.plan.light_range import Windows
from rushlight.records.light_range import Strobe
from rushlight.records.resolved import ResolvedRig
from rushlight.records.rig import Rig
from rushlight.shelf.catalogue import Shelf
from rushlight.shelf.resolve import lit_emitters

_WIRED = "the camera's exposure signal drives the light by a wire"
_CARRIED = "a carried light must be told of the exposure, by a wire or by radio: an idea to try"


def strobes_of(
    rig: Rig,
    shelf: Shelf,
    resolved: ResolvedRig,
    camera: int,
    found: Windows,
    exposure_s: float,
    names: Names,
) -> list[Strobe]:
    """What each light would gain by being lit only during the exposure of one camera.

    Compared with a light lit throughout at the rig's current. At the same mean current it may
    shine more strongly while lit, and the exposure then be shorter by as much: the dot keeps its
    electrons, and the room's light falls by the gain.

    Parameters
    ----------
    rig, shelf, resolved, names
        The first rig of a batch, its parts and names.
    camera
        Index of the camera.
    found
        Its exposure ranges.
    exposure_s
        As planned [s].
    """
    c, e = resolved.cameras, resolved.emitters
    rows = float(c.size_px[0, camera, 1])
    readout = float(c.row_time_s[0, camera]) * (rows - 1.0)
    rate = float(c.frame_rate_hz[0, camera])
    strobes = []
    for index, (_carried, emitter) in enumerate(lit_emitters(rig)):
        wired = emitter.part is None
        current = float(e.current_a[0, index])
        most = float(e.greatest_a[0, index])
        gain, duty = (float(each) for each in pulse_gain(exposure_s, rate, readout))
        limit = "duty"
        if gain == 0.0:
            limit = "rolling shutter"
        elif gain > max(most / current, 1.0):
            gain, limit = max(most / current, 1.0), "part"
        room = exposure_s / float(c.shortest_exposure_s[0, camera])
        if gain > room >= 1.0:
            gain, limit = room, "shortest exposure"
        ambient = found.ambient_too_weak(np.array([exposure_s]))[0, index] * max(gain, 1.0)
        strobes.append(
            Strobe(
                camera=names.cameras[camera],
                carried=names.carried[index],
                duty=duty,
                mean_share=duty if duty > 0.0 else 1.0,
                gain=gain,
                limited_by=limit,  # type: ignore[arg-type]
                ambient_too_weak_w_m2=finite(float(ambient)),
                note=_WIRED if wired else _CARRIED,
            )
        )
    return strobes
