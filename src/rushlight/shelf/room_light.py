"""The infrared light of the room on the surface, from its windows and lamps, through one camera.

Everything is counted as light of the first emitter's wavelength that would leave as many
electrons, because that is how the plan turns the room's light into electrons. It is an estimate:
what glass, blinds, lamps and walls do in the near infrared differs by several times. A value
that the rig states under `[ambient]` is believed instead.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from rushlight.physics.daylight import (
    DIRECT_W_M2,
    EDGES_M,
    GLOBAL_W_M2,
    GROUND_REFLECTANCE,
    bins_within,
    diffuse_w_m2,
    in_band,
    round_the_room,
    sun_directions,
    sunlit,
    window_irradiance,
)
from rushlight.physics.lamps import lamp_irradiance, lamp_spectrum, lamp_watts
from rushlight.physics.sun_path import SEASONS, strength, sun_place, to_sun_of_room
from rushlight.records.arrays import Array
from rushlight.records.parts import CameraPart, FilterPart
from rushlight.records.rig import Camera, Rig
from rushlight.records.room import Lamp, Room, Window
from rushlight.shelf.catalogue import Shelf
from rushlight.shelf.optics import filter_transmission, quantum_efficiency

GLAZING_PASSES = {"none": 1.0, "clear": 0.8, "double": 0.65, "coated": 0.3}
"""Share of near-infrared light that glass passes: nothing, one clear pane, two, a pane coated
against heat (from memory; coated panes differ most)."""
ROOM_REFLECTANCE = 0.5
"""Mean of walls, floor and ceiling in the near infrared (our own choice, no source)."""
SUN_BLIND_M = 1100e-9
"""Wavelength at which silicon no longer sees anything (from memory); straight to there from
940 nm (our own choice)."""
DAYS, HOURS = np.arange(11.0, 365.0, 10.0), np.arange(0.0, 24.0, 0.25)
"""Days of the year and solar hours at which the sun is looked at."""
GRID = (9, 6)
"""Places across and up the surface at which the room's light is looked at."""


@dataclass(frozen=True)
class LightShare:
    """What one window or lamp sheds on the surface, [W/m²] at each place (G,).

    Attributes
    ----------
    id, kind
        Of the window or lamp; kind "window" or the lamp's own.
    told
        As the rig has it, the sun itself left out.
    sun
        The same while the sun stands where it does worst.
    """

    id: str
    kind: str
    told: Array
    sun: Array


@dataclass(frozen=True)
class RoomLight:
    """The room's light on the surface as one camera counts it.

    Attributes
    ----------
    camera
        Its id.
    places_m
        (G, 2) [m].
    shares
        Of every window and lamp.
    thrown
        Whether light that goes by way of the room's walls is in it: its sizes must be known.
    to_sun
        (3,) toward the sun at its worst, NaN where no sun comes in.
    """

    camera: str
    places_m: Array
    shares: tuple[LightShare, ...]
    thrown: bool
    to_sun: Array

    def told(self) -> Array:
        """All of it (G,) [W/m²], the sun itself left out."""
        return np.sum([share.told for share in self.shares], axis=0)

    def sun(self) -> Array:
        """All of it (G,) [W/m²] while the sun does worst."""
        return np.sum([share.sun for share in self.shares], axis=0)


def has_lights(room: Room | None) -> bool:
    """Whether the rig names windows or lamps, so that the room's light can be estimated."""
    return room is not None and bool(room.windows or room.lamps)


def response_of(part: CameraPart, filter_part: FilterPart | None, wavelength_m: float) -> Array:
    """How much light in each bin of wavelength (55,) counts beside light of one wavelength.

    Filter, sensor and photons together, 1 at `wavelength_m`. The sensor's efficiency runs on
    straight from 850 nm down to 650 nm, is level below, and falls straight to nothing at
    1100 nm (our own choice).

    Raises
    ------
    ValueError
        When the filter blocks `wavelength_m` wholly.
    """
    middle = (EDGES_M[1:] + EDGES_M[:-1]) / 2.0
    near, far = part.quantum_efficiency_850.si, part.quantum_efficiency_940.si
    deep = min(max(near + (near - far) * 200.0 / 90.0, 0.0), 0.9)
    efficiency = np.interp(middle, [650e-9, 850e-9, 940e-9, SUN_BLIND_M], [deep, near, far, 0.0])
    passed = np.ones_like(middle)
    if filter_part is not None:
        within = _passed_share(filter_part)
        passed = within * filter_part.transmission.si + (1.0 - within) * filter_part.leak.si
    own = filter_transmission(filter_part, wavelength_m)
    if own <= 0.0:
        raise ValueError(f"the filter passes nothing at {wavelength_m:g} m")
    return np.asarray(
        passed * efficiency * middle / (own * quantum_efficiency(part, wavelength_m) * wavelength_m)
    )


def _passed_share(filter_part: FilterPart) -> Array:
    """Share of each bin that lies within what a filter passes, straight on."""
    if filter_part.passes == "long" and filter_part.edge is not None:
        return bins_within(filter_part.edge.si, 1.0)
    if filter_part.centre is None or filter_part.width is None:
        raise ValueError("expected a band filter with centre and width")
    half = filter_part.width.si / 2.0
    return bins_within(filter_part.centre.si - half, filter_part.centre.si + half)


def room_light(
    rig: Rig, shelf: Shelf, camera: Camera, wavelength_m: float, places_m: Array | None = None
) -> RoomLight:
    """How much light of the room's windows and lamps falls on the surface, for one camera.

    Parameters
    ----------
    rig, shelf
        A rig whose room has windows or lamps, and where parts are looked up.
    camera
        Through whose filter and sensor.
    wavelength_m
        Of the light beside which it counts [m].
    places_m
        (G, 2) of the surface [m]; `GRID` middles where left out.

    Raises
    ------
    ValueError
        When the room has neither windows nor lamps.
    """
    room = rig.room
    if room is None or not has_lights(room):
        raise ValueError("expected a room with windows or lamps")
    places = grid_places(rig) if places_m is None else np.asarray(places_m, float)
    filter_part = shelf.filter(camera.filter) if camera.filter else None
    response = response_of(shelf.camera(camera.part), filter_part, wavelength_m)
    area = _inside_area(room)
    windows = [_window(each, places, response, area) for each in room.windows]
    lamps = [_lamp(each, places, response, area) for each in room.lamps]
    to_sun, suns = _worst_sun(room, places, response, area)
    shares = [
        LightShare(window.id, "window", told, told + sun)
        for window, told, sun in zip(room.windows, windows, suns, strict=True)
    ]
    shares += [
        LightShare(lamp.id, lamp.kind, told, told)
        for lamp, told in zip(room.lamps, lamps, strict=True)
    ]
    return RoomLight(camera.id, places, tuple(shares), area is not None, to_sun)


def grid_places(rig: Rig) -> Array:
    """Middles (G, 2) [m] of the cells of the first surface."""
    size = np.array([rig.surfaces[0].width.value, rig.surfaces[0].height.value])
    steps = [
        (np.arange(count) + 0.5) / count * side for count, side in zip(GRID, size, strict=True)
    ]
    x, y = np.meshgrid(*steps)
    return np.stack([x.ravel(), y.ravel()], axis=-1)


def mean_and_gradient(places_m: Array, light_w_m2: Array) -> tuple[float, float]:
    """Mean [W/m²], and how much the right edge has more than the left as a share of it.

    The gradient is a straight line's through all places, kept within ±1.
    """
    mean = float(light_w_m2.mean())
    if mean <= 0.0:
        return mean, 0.0
    aside = places_m[:, 0] - places_m[:, 0].mean()
    slope = float(aside @ light_w_m2 / (aside @ aside))
    width = float(np.ptp(places_m[:, 0])) * GRID[0] / (GRID[0] - 1)
    return mean, float(np.clip(slope * width / mean, -1.0, 1.0))


def brightest_told(
    rig: Rig, shelf: Shelf, wavelength_m: float, places_m: Array | None = None
) -> RoomLight:
    """The room's light for the camera that counts most of it; arguments as `room_light`."""
    each = [room_light(rig, shelf, camera, wavelength_m, places_m) for camera in rig.cameras]
    return max(each, key=lambda light: float(light.told().mean()))


def corners_m(thing: Any) -> tuple[Array, Array]:
    """Both corners (3,) of a window, place or box [m]."""
    return (
        np.array([step.value for step in thing.corner]),
        np.array([step.value for step in thing.opposite]),
    )


def _inside_area(room: Room) -> float | None:
    """All of a room's inside [m²], None where a size is not known."""
    if room.width is None or room.depth is None or room.height is None:
        return None
    w, d, h = room.width.value, room.depth.value, room.height.value
    return 2.0 * (w * d + w * h + d * h)


def passes_of(window: Window) -> float:
    """Share of near-infrared light that a window lets through: as given, or by its glazing."""
    given = window.transmission
    return float(given.value) if given is not None else GLAZING_PASSES[window.glazing]


def _opening_m2(window: Window) -> float:
    corner, opposite = corners_m(window)
    sides = np.sort(np.abs(opposite - corner))
    return float(sides[1] * sides[2])


def _window(window: Window, places: Array, response: Array, area: float | None) -> Array:
    """Light (G,) of sky and sunlit ground."""
    if window.light == "dark":
        return np.zeros(len(places))
    glass = passes_of(window)
    sky = glass * float(in_band(diffuse_w_m2(), response)) / np.pi
    ground = glass * GROUND_REFLECTANCE * float(in_band(GLOBAL_W_M2, response)) / np.pi
    corner, opposite = corners_m(window)
    straight = window_irradiance(places, corner, opposite, sky, ground)
    # An upright pane sees half sky, half ground; one overhead sky only.
    overhead = corner[1] == opposite[1]
    on_pane = np.pi * sky if overhead else np.pi * (sky + ground) / 2.0
    return straight + _thrown(on_pane * _opening_m2(window), area)


def _lamp(lamp: Lamp, places: Array, response: Array, area: float | None) -> Array:
    """Light (G,) of a lamp."""
    flux = lamp_flux_w(lamp, response)
    place = np.array([step.value for step in lamp.position])
    return lamp_irradiance(places, place, flux) + _thrown(flux, area)


def lamp_flux_w(lamp: Lamp, response: Array) -> float:
    """What a lamp sends out all round, as far as it counts [W]."""
    watts = lamp.watts.value if lamp.watts else None
    if watts is None:
        watts = float(lamp_watts(lamp.kind, lamp.lumens.value if lamp.lumens else 0.0))
    return float(in_band(lamp_spectrum(lamp.kind, watts), response))


def _thrown(flux_w: Any, area: float | None) -> Any:
    """Light [W/m²] that reaches the surface by way of the room; none where its size is unknown."""
    return (
        0.0 * np.asarray(flux_w) if area is None else round_the_room(flux_w, ROOM_REFLECTANCE, area)
    )


def _worst_sun(
    room: Room, places: Array, response: Array, area: float | None
) -> tuple[Array, list[Array]]:
    """Where the sun sheds most on the surface, and what it sheds by each window then (G,)."""
    nothing = [np.zeros(len(places)) for _ in room.windows]
    to_sun, strong = suns_of(room)
    if not room.windows or not len(to_sun):
        return np.full(3, np.nan), nothing
    by_window = [
        strong[:, None] * _sun_by(window, places, to_sun, response, area) for window in room.windows
    ]
    whole = np.sum(by_window, axis=0).mean(axis=-1)
    worst = int(np.argmax(whole))
    if whole[worst] <= 0.0:
        return np.full(3, np.nan), nothing
    return to_sun[worst], [each[worst] for each in by_window]


def suns_of(room: Room) -> tuple[Array, Array]:
    """Directions (D, 3) from which the sun may shine, and its strength there (D,).

    With the room's bearing and latitude those of the year's hours, weaker when low; otherwise
    all up to a height, each at the strength of the reference spectrum, which errs high.
    """
    if room.facing is None or room.latitude is None:
        anywhere = sun_directions()
        return anywhere, np.ones(len(anywhere))
    day, hour = (each.ravel() for each in np.meshgrid(DAYS, HOURS))
    return _suns_at(room.facing.value, room.latitude.value, day, hour)


def _suns_at(facing: float, latitude: float, day: Array, hour: Array) -> tuple[Array, Array]:
    high, bearing = sun_place(latitude, day, hour)
    above = high > 0.0
    return to_sun_of_room(high[above], bearing[above], facing), strength(high[above])


def hours_of_sun(
    rig: Rig, shelf: Shelf, camera: Camera, wavelength_m: float, places_m: Array
) -> dict[str, tuple[Array, Array]]:
    """What the sun alone sheds by all windows over one day of each season.

    Arguments as `room_light`. Returns by season the solar hours (H,) at which the sun is up, and
    its light (H, G) [W/m²]; nothing where the room's bearing or latitude is not known.
    """
    room = rig.room
    if room is None or room.facing is None or room.latitude is None:
        return {}
    found = {}
    for season, day in SEASONS.items():
        high, _ = sun_place(room.latitude.value, day, HOURS)
        to_sun, strong = _suns_at(
            room.facing.value, room.latitude.value, np.full(len(HOURS), float(day)), HOURS
        )
        light = _sun_from(rig, shelf, camera, wavelength_m, places_m, to_sun, strong)
        found[season] = (HOURS[high > 0.0], light)
    return found


def sun_from_anywhere(
    rig: Rig, shelf: Shelf, camera: Camera, wavelength_m: float, places_m: Array
) -> Array:
    """What the sun alone sheds (D, G) [W/m²] from each direction from which it may shine.

    Arguments as `room_light`. The directions are those of `suns_of`, among which the plan looks
    for the worst: all round and up to a height where the room's bearing or latitude is not known.
    """
    to_sun, strong = suns_of(rig.room) if rig.room else (np.empty((0, 3)), np.empty(0))
    return _sun_from(rig, shelf, camera, wavelength_m, places_m, to_sun, strong)


def _sun_from(
    rig: Rig,
    shelf: Shelf,
    camera: Camera,
    wavelength_m: float,
    places_m: Array,
    to_sun: Array,
    strong: Array,
) -> Array:
    """Sunlight (D, G) by all windows from directions (D, 3), as strong (D,) there."""
    filter_part = shelf.filter(camera.filter) if camera.filter else None
    response = response_of(shelf.camera(camera.part), filter_part, wavelength_m)
    light = np.zeros((len(to_sun), len(places_m)))
    if rig.room is not None:
        area = _inside_area(rig.room)
        for window in rig.room.windows:
            light += strong[:, None] * _sun_by(window, places_m, to_sun, response, area)
    return light


def _sun_by(
    window: Window, places: Array, to_sun: Array, response: Array, area: float | None
) -> Array:
    """Sunlight (D, G) by one window for each direction of the sun (D, 3)."""
    if window.light != "sun":
        return np.zeros((len(to_sun), len(places)))
    beam = passes_of(window) * float(in_band(DIRECT_W_M2, response))
    corner, opposite = corners_m(window)
    outward = outward_of(window, places.mean(axis=0))
    falls = np.maximum(to_sun @ outward, 0.0)
    lit = sunlit(places, corner, opposite, to_sun[:, None, :]) & (falls > 0.0)[:, None]
    straight = beam * lit * to_sun[:, None, 2]
    return np.asarray(straight + _thrown(beam * falls * _opening_m2(window), area)[:, None])


def outward_of(window: Window, middle_m: Array) -> Array:
    """Direction (3,) out of the room by a window, seen from the surface's middle (2,) [m]."""
    corner, opposite = corners_m(window)
    axis = int(np.argmin(np.abs(opposite - corner)))
    away = corner[axis] - np.array([*middle_m, 0.0])[axis]
    # In the display's own wall the outside lies behind it.
    sign = 1.0 if away > 0.0 else -1.0
    return np.asarray(sign * np.eye(3)[axis])
