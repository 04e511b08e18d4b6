"""Is the light as it was when the rig was registered: the room's, and that of the touches."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from rushlight.errors import Finding
from rushlight.plan.light import FAINTEST_PEAK, FULLEST_PEAK, DotField, dots, light_field
from rushlight.records.arrays import Array
from rushlight.records.dots import Dots
from rushlight.records.registration import Touch
from rushlight.records.resolved import ResolvedRig

BRIGHT_SHARE = 0.5
"""Of full scale: where the room alone takes more, what a light adds is cut off (our own choice)."""

DIM_SHARE = 0.5
"""Of the light at registration; below it a cell is taken for empty (our own choice)."""

DIM_SPREADS = 3.0
"""And by so many times what the way of holding makes of it."""

_SPREAD_FLOOR = 0.1  # of the logarithm of a touch's light, however alike few touches were


@dataclass(eq=False)
class RoomLight:
    """The picture while nothing is touched, frame by frame."""

    levels_dn: list[float] = field(default_factory=list)
    full_share: list[float] = field(default_factory=list)
    lights: list[int] = field(default_factory=list)

    def add(self, image: Array | None, found: Dots, full_scale_dn: int) -> None:
        """One more frame."""
        self.lights.append(len(found.good()))
        if image is not None:
            self.levels_dn.append(float(np.mean(image)))
            self.full_share.append(float(np.mean(image >= full_scale_dn)))

    @property
    def level_dn(self) -> float:
        """Usual grey level [DN]; NaN where no pictures came."""
        return float(np.median(self.levels_dn)) if self.levels_dn else np.nan

    @property
    def standing(self) -> int:
        """Lights that stood in the picture meanwhile."""
        return int(np.median(self.lights)) if self.lights else 0


@dataclass(frozen=True)
class LightTold:
    """The light in numbers; NaN where it is not known.

    Attributes
    ----------
    room_share, room_planned_share
        Of full scale that the room takes, now and as planned.
    standing
        Lights in the picture that belong to nobody.
    touch_share
        Light of the check touches as a share of those at registration.
    peak_over_noise
        Of the weakest expected touch, as it is now.
    """

    room_share: float
    room_planned_share: float
    standing: int
    touch_share: float = np.nan
    peak_over_noise: float = np.nan


def seen_at(resolved: ResolvedRig, camera: int, places_m: Array) -> tuple[DotField, Array]:
    """The dots that a plan expects at places (N, 2) [m], and the weights of the ways of holding."""
    light = light_field(resolved, camera, places_m[None])
    return dots(resolved, camera, light, resolved.cameras.exposure_s[:, camera]), light.weights


def judge_light(
    resolved: ResolvedRig,
    camera: int,
    emitter: int,
    room: RoomLight,
    full_scale_dn: int,
    before: Sequence[Touch],
    places_m: Array,
    flux: Array,
) -> tuple[LightTold, list[Finding]]:
    """The light in numbers, and what speaks against beginning; errors are a no-go.

    Parameters
    ----------
    resolved, camera, emitter
        The rig with its exposure, and which of its cameras and emitters.
    room
        While nothing was touched.
    full_scale_dn
        Level of a pixel at full scale.
    before
        The same stylus's touches at registration.
    places_m, flux
        (T, 2) [m] and (T,) [grey levels × px] of the check touches; none where none was made.
    """
    c = resolved.cameras
    black_dn = float(c.black_dn[0, camera])
    scale_dn = full_scale_dn - black_dn
    middle = resolved.surface.size_m / 2.0
    expected, _ = seen_at(resolved, camera, middle)
    gain = float(c.gain_e_per_dn[0, camera])
    planned_e = float(expected.background_e[0, emitter, 0])
    room_e = (
        max((room.level_dn - black_dn) * gain, 0.0) if np.isfinite(room.level_dn) else planned_e
    )
    share = (room.level_dn - black_dn) / scale_dn
    findings = room_findings(share, room)
    touch_share, spread = _touch_share(resolved, camera, emitter, before, places_m, flux)
    read_e = float(c.read_noise_e[0, camera])
    peak = float(expected.peak_over_noise[0, emitter, 0]) * np.sqrt(
        (planned_e + read_e**2) / (room_e + read_e**2)
    )
    weakest = peak * (touch_share if np.isfinite(touch_share) else 1.0)
    if touch_share < DIM_SHARE and np.log(touch_share) < -DIM_SPREADS * spread:
        findings.append(
            Finding(
                "error",
                "dim",
                "the light of the stylus",
                f"{touch_share:.0%}",
                "of what it was at registration is left, which no way of holding explains",
                "put in new cells, and clean the stylus's tip and the lens",
            )
        )
    if weakest < FAINTEST_PEAK:
        findings.append(
            Finding(
                "error",
                "weak",
                "the weakest touch",
                f"{weakest:.1f} times the noise",
                f"stands out less than {FAINTEST_PEAK:g} times, so touches will be missed",
                "darken the room, or put in new cells",
            )
        )
    bright = float(expected.grey_peak[0, emitter, 0]) - planned_e / gain / scale_dn
    if share <= BRIGHT_SHARE and bright + share > 1.0:
        findings.append(
            Finding(
                "warning",
                "clipped",
                "a touch on top of the room's light",
                f"{bright + share:.0%} of full scale",
                f"is cut off, and more than {FULLEST_PEAK:.0%} is too near to it",
                "darken the room",
            )
        )
    planned = planned_e / gain / scale_dn
    return LightTold(share, planned, room.standing, touch_share, weakest), findings


def room_findings(
    share: float,
    room: RoomLight,
    remedy: str = "draw the curtains, switch lamps off, or shorten the exposure and register anew",
) -> list[Finding]:
    """What speaks against the light of the room, which takes a share of full scale."""
    findings = []
    if share > BRIGHT_SHARE:
        findings.append(
            Finding(
                "error",
                "room-bright",
                "the room",
                f"{share:.0%} of full scale",
                "is so bright that what a light adds is cut off",
                remedy,
            )
        )
    if room.standing:
        findings.append(
            Finding(
                "warning",
                "lights-standing",
                "the picture",
                f"{room.standing} light{'s' if room.standing > 1 else ''}",
                "stood in it while nothing was touched",
                "cover them, or switch them off, lest they be taken for touches",
            )
        )
    return findings


def _touch_share(
    resolved: ResolvedRig,
    camera: int,
    emitter: int,
    before: Sequence[Touch],
    places_m: Array,
    flux: Array,
) -> tuple[float, float]:
    """Light of touches over that at registration, each over what the plan expects at its place;
    and the standard deviation of the logarithm of that ratio by the way of holding."""
    known = [touch for touch in before if touch.flux is not None and touch.flux > 0.0]
    if not (known and len(flux) and np.all(flux > 0.0)):
        return np.nan, np.nan
    places = np.concatenate([np.array([touch.goal_m for touch in known]), places_m])
    expected, _ = seen_at(resolved, camera, places)
    light = np.concatenate([[float(touch.flux or np.nan) for touch in known], flux])
    over = np.log(light / expected.electrons[0, emitter])
    old, new = over[: len(known)], over[len(known) :]
    if not np.all(np.isfinite(over)):
        return np.nan, np.nan
    spread = max(float(np.std(old, ddof=1)) if len(old) > 2 else 1.0, _SPREAD_FLOOR)
    doubt = spread * np.sqrt(1.0 / len(old) + 1.0 / len(new))
    return float(np.exp(new.mean() - old.mean())), float(doubt)
