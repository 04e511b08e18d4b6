"""The light of an aim: how bright each held light is, and what the room's light does."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rushlight.errors import Finding
from rushlight.jobs.ready_light import RoomLight, room_findings, seen_at
from rushlight.physics.sensing import noise_floor_variance
from rushlight.physics.touch import TouchOffset, over_ways
from rushlight.plan.light import FAINTEST_PEAK, FULLEST_PEAK
from rushlight.records.aim import AimLight
from rushlight.records.arrays import Array
from rushlight.records.dots import Dots
from rushlight.records.resolved import ResolvedRig

NEAR_PX = 3.0
"""A dot so near to where a light was held is that light's (our own choice)."""

MORE_ROOM = 2.0
"""Times the planned light of the room beyond which it is told of (our own choice)."""


@dataclass(frozen=True)
class HeldLight:
    """How bright a held light is.

    Attributes
    ----------
    peak_dn
        Its brightest pixel above the room's light, the median over frames [DN].
    clipped
        Whether any of its pixels was at full scale.
    """

    peak_dn: float
    clipped: bool


@dataclass(frozen=True)
class LightScale:
    """What turns grey levels of a dot into shares and noises.

    Attributes
    ----------
    room_share
        Of full scale that the room takes; NaN where it is not known.
    scale_dn
        From darkness to full scale [DN].
    noise_dn, dark_noise_dn
        Of a pixel in the room's light, or the planned where it is not known; and in the dark [DN].
    """

    room_share: float
    scale_dn: float
    noise_dn: float
    dark_noise_dn: float

    def full_share(self, peak_dn: float) -> float:
        """Of full scale that a dot's peak and the room take together."""
        return peak_dn / self.scale_dn + max(float(np.nan_to_num(self.room_share)), 0.0)

    def over_noise(self, peak_dn: float) -> float:
        """A dot's peak over the noise."""
        return peak_dn / self.noise_dn


def planned_room_e(resolved: ResolvedRig) -> float:
    """Of the room's light in a pixel, as planned [e⁻]."""
    middle, _ = seen_at(resolved, 0, resolved.surface.size_m / 2.0)
    return float(middle.background_e[0, 0, 0])


def light_scale(
    resolved: ResolvedRig, room: RoomLight, full_scale_dn: int, planned_e: float
) -> LightScale:
    """The scale of a rig of one camera.

    Parameters
    ----------
    resolved
        With its exposure.
    room
        The picture while no light was held.
    full_scale_dn
        Level of a pixel at full scale.
    planned_e
        Of the room's light in a pixel, as planned [e⁻].
    """
    c = resolved.cameras
    black, gain = float(c.black_dn[0, 0]), float(c.gain_e_per_dn[0, 0])
    floor_e2 = float(noise_floor_variance(c.read_noise_e[0, 0], gain))
    above_dn = room.level_dn - black
    room_e = max(above_dn * gain, 0.0) if np.isfinite(above_dn) else planned_e
    return LightScale(
        above_dn / (full_scale_dn - black),
        full_scale_dn - black,
        float(np.sqrt(room_e + floor_e2)) / gain,
        float(np.sqrt(floor_e2)) / gain,
    )


def held_light(frames: list[Dots], px: Array) -> HeldLight | None:
    """How bright the light was that was held at a pixel; None where no frame tells."""
    peaks, clipped = [], False
    for dots in frames:
        if len(dots):
            away = np.linalg.norm(dots.xy - px, axis=-1)
            near = int(np.argmin(away))
            if away[near] <= NEAR_PX and np.isfinite(dots.peak[near]):
                peaks.append(float(dots.peak[near]))
                clipped = clipped or bool(dots.saturated[near] > 0)
    return HeldLight(float(np.median(peaks)), clipped) if peaks else None


def seen_places(resolved: ResolvedRig, emitters: Array, places_m: Array) -> TouchOffset:
    """Where lights (N,) held at places (N, 2) [m] seem to stand beside them, and how surely.

    Returns
    -------
    TouchOffset
        Means (N, 2) [m] and covariances (N, 2, 2) [m²], the hand's own share in them. Where the
        camera is not supposed to see a place, the light may be anywhere about its holder's hand.
    """
    hand_m2 = resolved.emitters.touch_std_m[0, emitters] ** 2
    dot, weights = seen_at(resolved, 0, places_m)
    aside = over_ways(dot.apparent_m[0, emitters, np.arange(len(places_m))], weights)
    known = np.isfinite(aside.mean_m).all(axis=-1) & np.isfinite(aside.cov_m2).all(axis=(-2, -1))
    length_m2 = np.sum(resolved.emitters.position_m[0, emitters] ** 2, axis=-1)
    mean = np.where(known[:, None], aside.mean_m, 0.0)
    wide = length_m2[:, None, None] * np.eye(2)
    cov = np.where(known[:, None, None], aside.cov_m2, wide)
    return TouchOffset(mean, cov + hand_m2[:, None, None] * np.eye(2))


def judge_lights(
    resolved: ResolvedRig,
    room: RoomLight,
    full_scale_dn: int,
    lights: dict[str, HeldLight],
    places_m: Array,
    emitters: Array,
) -> tuple[AimLight, dict[str, dict[str, float]], list[Finding]]:
    """The light in numbers, shares by place, and what is to be said of it.

    Parameters
    ----------
    resolved
        The rig with its camera where it truly stands.
    room
        The picture while none was.
    full_scale_dn
        Level of a pixel at full scale.
    lights
        L of them, by the name of the place.
    places_m, emitters
        (L, 2) where they were held [m], and (L,) which lights they are.
    """
    c = resolved.cameras
    planned_e = planned_room_e(resolved)
    scale = light_scale(resolved, room, full_scale_dn, planned_e)
    known = np.isfinite(scale.room_share)
    shares: dict[str, dict[str, float]] = {}
    if lights:
        expected, _ = seen_at(resolved, 0, places_m)
        for index, (name, light) in enumerate(lights.items()):
            shares[name] = {
                "full_share": scale.full_share(light.peak_dn),
                "expected_share": float(expected.grey_peak[0, emitters[index], index]),
                "over_noise": scale.over_noise(light.peak_dn),
            }
    planned_dn = planned_e / float(c.gain_e_per_dn[0, 0])
    told = AimLight(
        room_share=scale.room_share,
        room_planned_share=planned_dn / scale.scale_dn,
        room_noise=scale.noise_dn / scale.dark_noise_dn if known else np.nan,
        standing=room.standing,
        fullest_share=max((each["full_share"] for each in shares.values()), default=np.nan),
        weakest_over_noise=min((each["over_noise"] for each in shares.values()), default=np.nan),
        exposure_s=float(c.exposure_s[0, 0]),
    )
    findings = room_findings(
        told.room_share,
        room,
        "draw the curtains, switch lamps off, put a darker filter before the lens, or shorten the "
        "exposure",
    )
    clipped = [name for name, light in lights.items() if light.clipped]
    return told, shares, [*findings, *_of_lights(told, shares, clipped)]


def _of_lights(
    told: AimLight, shares: dict[str, dict[str, float]], clipped: list[str]
) -> list[Finding]:
    """What is to be said of the lights held, and of the room beside them."""
    found: list[Finding] = []
    if clipped or told.fullest_share > FULLEST_PEAK:
        shorter_s = told.exposure_s * FULLEST_PEAK / max(told.fullest_share, 1.0)
        where = ", ".join(clipped) or max(shares, key=lambda name: shares[name]["full_share"])
        found.append(
            Finding(
                "warning", "aim-light-full", f"the light at {where}",
                f"{told.fullest_share:.0%} of full scale",
                "is cut off, so that its place is told less well" if clipped
                else f"leaves less than a headroom of {1.0 - FULLEST_PEAK:.0%}",
                f"shorten the exposure from {told.exposure_s * 1e3:.3g} ms to "
                f"{shorter_s * 1e3:.3g} ms or less, or lower the light's current",
            )
        )  # fmt: skip
    if told.weakest_over_noise < FAINTEST_PEAK:
        where = min(shares, key=lambda name: shares[name]["over_noise"])
        longer = FAINTEST_PEAK / told.weakest_over_noise
        found.append(
            Finding(
                "warning", "aim-light-weak", f"the light at {where}",
                f"{told.weakest_over_noise:.1f} times the noise",
                f"stands out less than {FAINTEST_PEAK:g} times, so touches will be missed",
                f"lengthen the exposure to {told.exposure_s * longer * 1e3:.3g} ms where the room "
                "is dark, put in new cells, or darken the room",
            )
        )  # fmt: skip
    if told.room_share > MORE_ROOM * told.room_planned_share + 0.02:
        found.append(
            Finding(
                "note", "aim-room-more", "the room's light", f"{told.room_share:.0%} of full scale",
                f"is more than the {told.room_planned_share:.0%} planned, and makes a pixel's "
                f"noise {told.room_noise:.1f} times that in the dark",
                "find the lamp or window that it comes from, and shade it",
            )
        )  # fmt: skip
    return found
