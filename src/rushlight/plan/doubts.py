"""The doubts about a rig that a tolerance is told of: a closed list of causes.

A spread comes from the shelf where the shelf states one; else it is the project's own choice,
and says so. What the error budget already holds as doubt (lens distortion, flatness of the wall,
how a stylus is held, how well a beacon is touched) is not doubted a second time.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from rushlight.physics.light import beam_exponent
from rushlight.physics.people import body_dimension
from rushlight.plan.doubt import OWN, Doubt
from rushlight.plan.doubt_sun import sun_doubt
from rushlight.plan.grid import with_fields
from rushlight.plan.power import plan_circuits
from rushlight.records.parts import CameraPart, EmitterPart
from rushlight.records.resolved import ResolvedRig
from rushlight.records.rig import Camera, Rig
from rushlight.records.sourced import Sourced
from rushlight.records.tolerance import CauseName
from rushlight.shelf.catalogue import Shelf
from rushlight.shelf.reflect import light_part
from rushlight.shelf.resolve import lit_emitters

Array = NDArray[Any]

AS_SAID = "as you said"
PLACE_M = 0.02
AIM_RAD = math.radians(1.0)
FOCAL_SHARE = 0.03
EXPOSURE_SHARE = 0.02
INTENSITY_SHARE = 0.25
HALF_ANGLE_SHARE = 0.12
SENSITIVITY_SHARE = 0.3
FULL_WELL_SHARE = 0.4
DELAY_SHARE = 0.4
AMBIENT_FACTOR = 2.0
_WIDEST_RAD = math.radians(89.0)


def doubts_of(
    rig: Rig, shelf: Shelf, resolved: ResolvedRig, said: Mapping[CauseName, float] | None = None
) -> list[Doubt]:
    """Every doubt of the closed list that applies to a rig and is not 0.

    Parameters
    ----------
    rig, shelf, resolved
        The rig three ways.
    said
        Standard deviations that take the place of shelf and default: of the camera's place [m]
        and aim [rad], of everything else as a share of itself [1], ≥ 0; of cell and sun only 0.
    """
    known = dict(said or {})
    found = {
        "camera-place": lambda std: _camera_place(resolved, std),
        "camera-aim": lambda std: _camera_aim(resolved, std),
        "focal-length": lambda std: _focal_length(rig, shelf, std),
        "sensitivity": lambda std: _sensitivity(rig, shelf, resolved, std),
        "camera-delay": lambda std: _camera_delay(rig, shelf, std),
        "exposure": lambda std: _exposure(resolved, std),
        "intensity": lambda std: _intensity(rig, shelf, std),
        "half-angle": lambda std: _half_angle(rig, shelf, std),
        "cell": lambda _std: _cell(rig, shelf),
        "ambient": lambda std: _ambient(resolved, std),
        "sun": lambda _std: sun_doubt(rig, shelf, resolved),
        "people": lambda std: _people(resolved, std),
    }
    doubts = []
    for name, of in found.items():
        std = known.get(cast(CauseName, name))
        doubt = None if std == 0.0 else of(std)
        if doubt is not None:
            doubts.append(
                doubt if std is None else replace(doubt, source=AS_SAID, own_choice=False)
            )
    return doubts


def _share(
    value: Sourced | None, otherwise: float, said: float | None = None
) -> tuple[float, bool]:
    """Relative standard deviation, and whether it is our own choice for want of a stated one."""
    if said is not None:
        return said, False
    if value is None or value.std is None or value.si == 0.0:
        return otherwise, True
    return value.si_std / abs(value.si), False


def _log(share: float | Array) -> Array:
    """Standard deviation of the logarithm of a log-normal value of this relative one."""
    return np.sqrt(np.log1p(np.asarray(share, float) ** 2))


def _from_shelf(chosen: list[bool]) -> tuple[str, bool]:
    """Where spreads come from, and whether one at least is our own choice."""
    own = any(chosen)
    if all(chosen):
        return OWN, own
    return "the shelf's standard deviations" + (f"; where none: {OWN}" if own else ""), own


def _percent(shares: Array | list[float]) -> str:
    known = sorted({f"{100 * float(share):.0f} %" for share in np.ravel(shares)})
    return " to ".join((known[0], known[-1])) if len(known) > 1 else known[0]


def _cameras(rig: Rig, shelf: Shelf) -> list[tuple[Camera, CameraPart]]:
    return [(camera, shelf.camera(camera.part)) for camera in rig.cameras]


def _emitters(rig: Rig, shelf: Shelf) -> list[EmitterPart]:
    return [light_part(rig, shelf, emitter) for _, emitter in lit_emitters(rig)]


def _camera_place(resolved: ResolvedRig, said: float | None) -> Doubt:
    std = PLACE_M if said is None else said
    cameras = resolved.cameras.size_px.shape[1]

    def moves(batch: ResolvedRig, z: Array) -> ResolvedRig:
        pose = batch.cameras.rig_from_camera.copy()
        pose[..., :3, 3] += std * z.reshape(len(z), cameras, 3)
        return with_fields(batch, cameras={"rig_from_camera": pose})

    return Doubt(
        "camera-place",
        "where the camera stands",
        f"{100 * std:.3g} cm along each axis, normal",
        OWN,
        True,
        "measure where the lens stands from the surface's corners",
        3 * cameras,
        moves,
    )


def _camera_aim(resolved: ResolvedRig, said: float | None) -> Doubt:
    std = AIM_RAD if said is None else said
    cameras = resolved.cameras.size_px.shape[1]

    def moves(batch: ResolvedRig, z: Array) -> ResolvedRig:
        pose = batch.cameras.rig_from_camera.copy()
        turned = Rotation.from_rotvec(std * z.reshape(-1, 3)).as_matrix()
        pose[..., :3, :3] = pose[..., :3, :3] @ turned.reshape(len(z), cameras, 3, 3)
        return with_fields(batch, cameras={"rig_from_camera": pose})

    return Doubt(
        "camera-aim",
        "which way the camera looks",
        f"{math.degrees(std):.3g}° about each axis, normal",
        OWN,
        True,
        "look at a picture of the surface's corners and aim again",
        3 * cameras,
        moves,
    )


def focal_shares(
    rig: Rig, shelf: Shelf, said: float | None = None
) -> tuple[list[float], list[bool], list[bool]]:
    """How well the cameras' focal lengths are known.

    Parameters
    ----------
    rig, shelf
        The rig, and the parts that it is made of.
    said
        A share that takes the place of all others.

    Returns
    -------
    shares, chosen, calibrated
        For each camera: standard deviation as a share of the focal length; whether it is our own
        choice; whether a calibration tells it.
    """
    shares, chosen, calibrated = [], [], []
    for camera, part in _cameras(rig, shelf):
        if camera.lens and said is None:
            lens = shelf.lens(camera.lens)
            shares.append(math.sqrt(max(float(lens.cov[0][0]), 0.0)) / lens.params[0])
            chosen.append(False)
            calibrated.append(True)
            continue
        focal, own = _share(part.focal_length, FOCAL_SHARE, said)
        pitch, _ = _share(part.pixel_pitch, 0.0) if said is None else (0.0, False)
        shares.append(math.hypot(focal, pitch))
        chosen.append(own)
        calibrated.append(False)
    return shares, chosen, calibrated


def _focal_length(rig: Rig, shelf: Shelf, said: float | None) -> Doubt | None:
    shares, chosen, calibrated = focal_shares(rig, shelf, said)
    if not any(shares):
        return None
    std = np.array(shares)
    source, own = _from_shelf(chosen)

    def moves(batch: ResolvedRig, z: Array) -> ResolvedRig:
        factor = np.exp(_log(std) * z)
        matrix = batch.cameras.K.copy()
        for axis in (0, 1):
            matrix[..., axis, axis] *= factor
        focal = batch.cameras.focal_m * factor
        return with_fields(batch, cameras={"K": matrix, "focal_m": focal})

    return Doubt(
        "focal-length",
        "the lens's focal length in pixels",
        f"{100 * std.max():.1f} %, log-normal",
        source + ("; the lens calibration's covariance" if any(calibrated) else ""),
        own,
        "calibrate the lens, or hold a rule before it and count its pixels",
        len(std),
        moves,
    )


def _sensitivity(rig: Rig, shelf: Shelf, resolved: ResolvedRig, said: float | None) -> Doubt | None:
    """Quantum efficiency, lens, filter and f-number as one factor; full scale as another."""
    light, scale, chosen = [], [], []
    nearer_850 = float(resolved.emitters.wavelength_m[0].mean()) < 895e-9
    for camera, part in _cameras(rig, shelf):
        sensed = part.quantum_efficiency_850 if nearer_850 else part.quantum_efficiency_940
        efficiency, own = _share(sensed, SENSITIVITY_SHARE, said)
        well, well_own = _share(part.full_well, FULL_WELL_SHARE)
        glass = shelf.filter(camera.filter).transmission if camera.filter else None
        others = [
            _share(part.lens_transmission, 0.0)[0],
            _share(glass, 0.0)[0],
            2.0 * _share(part.f_number, 0.0)[0],
        ]
        light.append(math.hypot(efficiency, *others) if said is None else said)
        scale.append(well)
        chosen += [own, well_own]
    if not any(light) and not any(scale):
        return None
    std = np.stack([_log(light), _log(scale)])
    source, own = _from_shelf(chosen)

    def moves(batch: ResolvedRig, z: Array) -> ResolvedRig:
        z = z.reshape(len(z), 2, -1)
        factor, well = np.exp(std[0] * z[:, 0]), np.exp(std[1] * z[:, 1])
        c = batch.cameras
        return with_fields(
            batch,
            cameras={
                "quantum_efficiency": c.quantum_efficiency * factor[..., None],
                "full_well_e": c.full_well_e * well,
                "gain_e_per_dn": c.gain_e_per_dn * well,
            },
        )

    return Doubt(
        "sensitivity",
        "how strongly the camera answers to infrared light",
        f"{_percent(light)} in sensor, lens and filter, {_percent(scale)} in full scale; "
        "log-normal",
        source,
        own,
        "measure how bright the dot of a known light is at a known distance",
        2 * len(light),
        moves,
    )


def _camera_delay(rig: Rig, shelf: Shelf, said: float | None) -> Doubt | None:
    found = [_share(part.delay, DELAY_SHARE, said) for _, part in _cameras(rig, shelf)]
    std = np.array([share for share, _ in found])
    if not std.any():
        return None
    source, own = _from_shelf([chosen for _, chosen in found])

    def moves(batch: ResolvedRig, z: Array) -> ResolvedRig:
        delay = batch.cameras.delay_s * np.exp(_log(std) * z)
        return with_fields(batch, cameras={"delay_s": delay})

    return Doubt(
        "camera-delay",
        "how late the camera hands over its frames",
        f"{_percent(std)}, log-normal",
        source,
        own,
        "measure the camera's delay",
        len(std),
        moves,
        delay_only=True,
    )


def _exposure(resolved: ResolvedRig, said: float | None) -> Doubt:
    std = EXPOSURE_SHARE if said is None else said

    def moves(batch: ResolvedRig, z: Array) -> ResolvedRig:
        return batch.with_exposure(batch.cameras.exposure_s * np.exp(std * z))

    return Doubt(
        "exposure",
        "the exposure as the camera drives it",
        f"{100 * std:g} %, log-normal",
        OWN,
        True,
        "photograph a light that blinks at a known rate",
        resolved.cameras.size_px.shape[1],
        moves,
    )


def _intensity(rig: Rig, shelf: Shelf, said: float | None) -> Doubt | None:
    found = [_share(part.intensity, INTENSITY_SHARE, said) for part in _emitters(rig, shelf)]
    std = np.array([share for share, _ in found])
    if not std.any():
        return None
    source, own = _from_shelf([chosen for _, chosen in found])

    def moves(batch: ResolvedRig, z: Array) -> ResolvedRig:
        e, factor = batch.emitters, np.exp(_log(std) * z)
        fields = {  # a marker's light is in proportion to its area
            "intensity_w_sr": e.intensity_w_sr * factor,
            "retro_area_m2": e.retro_area_m2 * factor,
        }
        return with_fields(batch, emitters=fields)

    return Doubt(
        "intensity",
        "how strongly each light shines at its current",
        f"{_percent(std)} each, log-normal",
        source,
        own,
        "compare the lights before the camera and keep those that agree",
        len(std),
        moves,
    )


def _half_angle(rig: Rig, shelf: Shelf, said: float | None) -> Doubt | None:
    parts = _emitters(rig, shelf)
    found = [_share(part.half_angle, HALF_ANGLE_SHARE, said) for part in parts]
    std = np.array([share for share, _ in found])
    if not std.any():
        return None
    source, own = _from_shelf([chosen for _, chosen in found])
    angle = np.array([part.half_angle.si for part in parts])

    def moves(batch: ResolvedRig, z: Array) -> ResolvedRig:
        turned = np.minimum(angle * np.exp(_log(std) * z), _WIDEST_RAD)
        return with_fields(batch, emitters={"exponent": beam_exponent(turned)})

    return Doubt(
        "half-angle",
        "how wide each light's beam is",
        f"{_percent(std)} each, log-normal",
        source,
        own,
        "measure the angle at which each light has fallen to half",
        len(std),
        moves,
    )


def _cell(rig: Rig, shelf: Shelf) -> Doubt | None:
    """The supply falls in use, and with it the current: as the plan of each circuit tells."""
    circuits = {each.name: each for each in plan_circuits(rig, shelf) if each.kind == "carried"}
    lights = lit_emitters(rig)
    things = [carried for carried, _ in lights]
    least = np.ones(len(lights))
    for index, (carried, emitter) in enumerate(lights):
        circuit = circuits.get(carried.id)
        branches = circuit.branches if circuit else []
        for branch in branches:
            if branch.light == emitter.id and branch.nominal_a and branch.spent_a is not None:
                least[index] = np.clip(branch.spent_a / branch.nominal_a, 0.01, 1.0)
    falls = least < 1.0
    if not falls.any():
        return None
    owners = list(dict.fromkeys(carried.id for carried in things))
    of_emitter = [owners.index(carried.id) for carried in things]

    def moves(batch: ResolvedRig, z: Array) -> ResolvedRig:
        fullness = (1.0 + z[:, of_emitter] / math.sqrt(3.0)) / 2.0
        factor = least + (1.0 - least) * fullness
        e = batch.emitters
        return with_fields(
            batch,
            emitters={
                "current_a": e.current_a * factor,
                "intensity_w_sr": e.intensity_w_sr * factor,
            },
        )

    return Doubt(
        "cell",
        "how full each cell is",
        f"current from as planned down to {_percent(least[falls])} of it at the cell's end "
        "voltage, rectangular",
        f"the plan of the circuit; that any fullness is as likely as another: {OWN}",
        True,
        "measure the voltage of the cells, and change them sooner",
        len(owners),
        moves,
        kind="rectangular",
        planned=math.sqrt(3.0),
    )


def _ambient(resolved: ResolvedRig, said: float | None) -> Doubt | None:
    if not np.all(resolved.surface.ambient_w_m2 > 0.0):
        return None
    factor = AMBIENT_FACTOR if said is None else float(np.exp(_log(said)))

    def moves(batch: ResolvedRig, z: Array) -> ResolvedRig:
        light = batch.surface.ambient_w_m2 * factor ** z[:, 0]
        return with_fields(batch, surface={"ambient_w_m2": light})

    return Doubt(
        "ambient",
        "the room's infrared light",
        f"a factor of {factor:.3g} either way, log-normal",
        OWN,
        True,
        "take a dark picture of the surface at the hours of use",
        1,
        moves,
    )


def _people(resolved: ResolvedRig, said: float | None) -> Doubt | None:
    count = resolved.people.stature_m.shape[1]
    if not count:
        return None
    # Half of the middle 90 % over 1.645, the normal law's 95 % point (computed here).
    share = said or np.mean(
        [
            (body_dimension("stature", group, 95) - body_dimension("stature", group, 5))
            / (2.0 * 1.6449 * body_dimension("stature", group))
            for group in ("women", "men")
        ]
    )

    def moves(batch: ResolvedRig, z: Array) -> ResolvedRig:
        p = batch.people
        size = np.maximum(1.0 + share * z, 0.5)
        names = ("stature_m", "shoulder_m", "reach_m", "breadth_m")
        return with_fields(batch, people={name: getattr(p, name) * size for name in names})

    return Doubt(
        "people",
        "how tall the people are, all their measures in proportion",
        f"{100 * share:.1f} %, normal",
        "stature in ANSUR II, NATICK/TR-15/007 (soldiers, not the public); in proportion: " + OWN,
        True,
        "measure who will use the rig",
        count,
        moves,
    )
