"""Other currents, apertures, filters, tips and emitters: which would widen the exposure range?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rushlight.errors import RushlightError
from rushlight.plan.figures import finite
from rushlight.plan.grid import with_fields
from rushlight.plan.light_range import usable_stops, windows_of
from rushlight.records.light_range import ChoiceKind, LightChoice
from rushlight.records.parts import EmitterPart, FilterPart
from rushlight.records.resolved import ResolvedRig, stack_rigs
from rushlight.records.rig import Camera, CarriedEmitter, Diffuser, Rig
from rushlight.shelf.catalogue import Shelf
from rushlight.shelf.optics import passes
from rushlight.shelf.reflect import light_part
from rushlight.shelf.resolve import lit_emitters, resolve

Array = NDArray[Any]

WORTH_STOPS = 0.25
"""From which gain in the range a choice counts as help (a choice of ours)."""
_COARSE = {"columns": 6, "rows": 4, "tilts": 2, "leans": 3}
_CURRENTS_A = (0.005, 0.01, 0.02, 0.05, 0.1)
_APERTURES = (1.4, 2.0, 2.8, 4.0, 5.6)
_SPREADS = (0.0, 0.3, 0.6, 0.9)
SAME_ROOM = "the room's light held as the rig states it, though another filter admits another share"


@dataclass(frozen=True)
class _Trial:
    kind: ChoiceKind
    change: str
    rig: ResolvedRig
    note: str = ""


def light_choices(rig: Rig, shelf: Shelf, resolved: ResolvedRig) -> list[LightChoice]:
    """What single changes make of the range of exposures, the widest range first.

    Parameters
    ----------
    rig, shelf, resolved
        The rig three ways. A part of the shelf that the rig cannot take is left out.
    """
    trials = [
        *_currents(resolved),
        *_apertures(resolved),
        *_gains(resolved),
        *_tips(rig, shelf),
        *_filters(rig, shelf),
        *_other_emitters(rig, shelf),
        *_markers(rig, shelf),
    ]
    batch = stack_rigs([resolved, *(trial.rig for trial in trials)])
    least, greatest, stops = _narrowest(batch)
    found = [
        LightChoice(
            kind=trial.kind,
            change=trial.change,
            least_s=finite(float(least[row])),
            greatest_s=finite(float(greatest[row])),
            usable_stops=finite(float(stops[row])),
            widens=bool(stops[row] - stops[0] >= WORTH_STOPS),
            note=trial.note,
        )
        for row, trial in enumerate(trials, start=1)
    ]
    return sorted(found, key=lambda choice: -_known(choice.usable_stops))


def _known(stops: float | None) -> float:
    return -1e9 if stops is None else stops


def _narrowest(batch: ResolvedRig) -> tuple[Array, Array, Array]:
    """Range and its width (R,) of all lights together, for the camera where it is narrowest."""
    c = batch.cameras
    ranges = []
    for camera in range(c.size_px.shape[1]):
        found = windows_of(batch, camera, **_COARSE)
        least, greatest = found.least_s.max(axis=1), found.greatest_s.min(axis=1)
        shortest, period = c.shortest_exposure_s[:, camera], 1.0 / c.frame_rate_hz[:, camera]
        ranges.append((least, greatest, usable_stops(least, greatest, shortest, period)))
    width = np.stack([each[2] for each in ranges])
    pick = np.argmin(np.nan_to_num(width, nan=-np.inf), axis=0)
    rigs = np.arange(len(batch))
    least, greatest, stops = (np.stack(each)[pick, rigs] for each in zip(*ranges, strict=True))
    return least, greatest, stops


def _currents(resolved: ResolvedRig) -> list[_Trial]:
    """Every light at one current, within what all parts bear."""
    e, lamps = resolved.emitters, resolved.cameras.lamp_w_sr
    marker = bool(np.any(e.retro_area_m2 > 0.0))
    trials = []
    for current in _CURRENTS_A:
        if current > float(np.nanmin(e.greatest_a)) * (1 + 1e-9):
            continue
        if np.all(np.abs(e.current_a - current) < 0.02 * current):
            continue
        fields = {
            "current_a": np.full_like(e.current_a, current),
            "intensity_w_sr": e.intensity_w_sr * current / e.current_a,
        }
        changed = with_fields(resolved, emitters=fields)
        if marker:
            share = current / float(np.nanmean(e.current_a))
            changed = with_fields(changed, cameras={"lamp_w_sr": lamps * share})
        change = f"{1e3 * current:g} mA through each {'lamp' if marker else 'light'}"
        trials.append(_Trial("current", change, changed))
    return trials


def _apertures(resolved: ResolvedRig) -> list[_Trial]:
    """Other stops; many low-cost lenses have none to set."""
    given = resolved.cameras.f_number
    return [
        _Trial(
            "aperture",
            f"aperture f/{stop:g}",
            with_fields(resolved, cameras={"f_number": np.full_like(given, stop)}),
            "needs a lens with that stop",
        )
        for stop in _APERTURES
        if np.any(np.abs(given / stop - 1.0) > 0.1)
    ]


def _gains(resolved: ResolvedRig) -> list[_Trial]:
    """Twice the gain: finer steps, but full scale at half the electrons."""
    c = resolved.cameras
    fields = {"full_well_e": c.full_well_e / 2.0, "gain_e_per_dn": c.gain_e_per_dn / 2.0}
    return [_Trial("gain", "twice the gain", with_fields(resolved, cameras=fields))]


def _tips(rig: Rig, shelf: Shelf) -> list[_Trial]:
    """Tips diffused more and less, at the transmission that the rig states (or three fifths)."""
    trials = []
    for spread in _SPREADS:

        def capped(emitter: CarriedEmitter, spread: float = spread) -> CarriedEmitter:
            if emitter.part is None:
                return emitter  # a marker has no tip to diffuse
            if spread == 0.0:
                return emitter.model_copy(update={"diffuser": None})
            through = emitter.diffuser.transmission.text if emitter.diffuser else "60 %"
            cap = Diffuser.model_validate(
                {"transmission": through, "spread": f"{100 * spread:g} %"}
            )
            return emitter.model_copy(update={"diffuser": cap})

        words = "bare lights" if spread == 0.0 else f"tips that spread {100 * spread:.0f} %"
        trials += _resolved("tip", words, _with_emitters(rig, capped), rig, shelf)
    return trials


def _filters(rig: Rig, shelf: Shelf) -> list[_Trial]:
    """Every filter of the shelf that passes all lights, and none."""
    waves = [light_part(rig, shelf, each).wavelength.si for _, each in lit_emitters(rig)]
    trials = []
    for part in shelf.of_kind("filter"):
        if not isinstance(part, FilterPart) or not all(passes(part, wave) for wave in waves):
            continue
        changed = _with_cameras(rig, {"filter": part.id})
        trials += _resolved("filter", f"filter {part.id}", changed, rig, shelf, SAME_ROOM)
    bare = _with_cameras(rig, {"filter": None})
    return trials + _resolved("filter", "no filter", bare, rig, shelf, SAME_ROOM)


def _other_emitters(rig: Rig, shelf: Shelf) -> list[_Trial]:
    trials = []
    for part in shelf.of_kind("emitter"):
        if not isinstance(part, EmitterPart):
            continue

        def swapped(emitter: CarriedEmitter, part_id: str = part.id) -> CarriedEmitter:
            own = {} if emitter.part is None else {"part": part_id}
            return emitter.model_copy(update=own)

        trials += _resolved(
            "emitter", f"emitter {part.id}", _with_emitters(rig, swapped), rig, shelf
        )
    return trials


def _markers(rig: Rig, shelf: Shelf) -> list[_Trial]:
    """Markers covered with other sheets of the shelf."""
    trials = []
    for part in shelf.of_kind("sheet"):

        def covered(emitter: CarriedEmitter, part_id: str = part.id) -> CarriedEmitter:
            own = {} if emitter.reflector is None else {"sheet": part_id}
            return emitter.model_copy(update=own)

        words = f"markers of {part.id}"
        trials += _resolved("marker", words, _with_emitters(rig, covered), rig, shelf)
    return trials


def _with_emitters(rig: Rig, change: Callable[[CarriedEmitter], CarriedEmitter]) -> Rig:
    carried = [
        thing.model_copy(update={"emitters": [change(each) for each in thing.emitters]})
        for thing in rig.carried
    ]
    return rig.model_copy(update={"carried": carried})


def _with_cameras(rig: Rig, update: dict[str, Any]) -> Rig:
    cameras: list[Camera] = [camera.model_copy(update=update) for camera in rig.cameras]
    return rig.model_copy(update={"cameras": cameras})


def _resolved(
    kind: ChoiceKind, change: str, changed: Rig, rig: Rig, shelf: Shelf, note: str = ""
) -> list[_Trial]:
    """The change as a trial; nothing where it changes nothing or the rig cannot take it."""
    if changed == rig:
        return []
    try:
        return [_Trial(kind, change, resolve(changed, shelf), note)]
    except RushlightError:
        return []  # as a filter that blocks, or a current that the part does not bear
