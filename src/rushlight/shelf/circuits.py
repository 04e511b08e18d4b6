"""Every light of a rig that needs a current, with what feeds it: the circuits, as parts.

What the rig leaves out: a light without a wiring is one diode, an illuminator's diodes stand
side by side, each on a resistor of its own; a switched light is lit for 30 % of the time
(assumption, no source), a steady one always.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from rushlight.physics.diode import forward_voltage
from rushlight.records.parts import CellPart, EmitterPart
from rushlight.records.rig import Camera, Carried, CarriedEmitter, Rig
from rushlight.records.wiring import ONE_DIODE, Feed, Wiring
from rushlight.shelf.catalogue import Shelf

SWITCHED_DUTY = 0.3
"""Share of the time that a switched stylus is pressed: an assumption, no source."""

LightKind = Literal["carried", "illuminator", "anchor"]


@dataclass(frozen=True)
class Branch:
    """One light on a supply: a string of diodes, or several alike side by side.

    Attributes
    ----------
    path
        Of the light in the rig's file.
    light
        Id of the light within its thing.
    part, wiring
        Diode, and how many there are and how joined.
    current_a
        Through each diode while lit, as the rig says [A].
    drive, duty, pulse_s
        As the rig says; the share of time lit is NaN where it must be stated and is not, the
        length of a pulse [s] where it is not stated.
    """

    path: str
    light: str
    part: EmitterPart
    wiring: Wiring
    current_a: float
    drive: str
    duty: float
    pulse_s: float

    @property
    def total_a(self) -> float:
        """Current of all strings while lit [A]."""
        return self.wiring.strings * self.current_a

    @property
    def in_pulses(self) -> bool:
        """Whether it is dark most of the time even while in use, and only its average heats."""
        return self.drive in ("pulsed", "coded")

    @property
    def lasting_duty(self) -> float:
        """Share of a long press for which it is lit: a pressed stylus may stay pressed."""
        return self.duty if self.in_pulses else 1.0

    def diode_v(self, current_a: float | np.ndarray) -> np.ndarray:
        """Forward voltage of one diode at a current [V]."""
        return forward_voltage(current_a, *self.curve)

    @property
    def curve(self) -> tuple[float, float, float]:
        """Test current [A], voltage there [V] and resistance of the part itself [Ω]."""
        series = self.part.series_resistance
        return (
            self.part.test_current.si,
            self.part.forward_voltage.si,
            series.si if series else 0.0,
        )


@dataclass(frozen=True)
class Supplied:
    """What hangs on one supply.

    Attributes
    ----------
    kind, name
        Carried thing, illuminator (named by its camera) or anchor, and its id.
    path, feed_path
        Of the thing, and of the field that names the supply, in the rig's file.
    feed
        Id of the supply, or None.
    cell, cells
        Part, None where there is none or it is unknown; how many in series.
    switch
        Tip, button or none.
    branches
        Lights whose part is known.
    """

    kind: LightKind
    name: str
    path: str
    feed_path: str
    feed: str | None
    cell: CellPart | None
    cells: int
    switch: str
    branches: tuple[Branch, ...]

    @property
    def nominal_v(self) -> float:
        """Of all cells in series [V]; NaN where unknown."""
        return self.cells * self.cell.voltage.si if self.cell else math.nan

    @property
    def fresh_v(self) -> float:
        """Of all cells in series when fresh [V]; the nominal voltage where no curve is known."""
        if self.cell and self.cell.discharge:
            return self.cells * self.cell.discharge[0].voltage.si
        return self.nominal_v

    @property
    def spent_v(self) -> float:
        """At which all cells in series count as spent [V]; NaN where unknown."""
        return self.cells * self.cell.end_voltage.si if self.cell else math.nan

    @property
    def words(self) -> str:
        """The supply as the rig's file has it."""
        return f"{self.cells} × {self.feed}" if self.cells > 1 else str(self.feed)


def duty_of(emitter: CarriedEmitter) -> float:
    """Share of the time that an emitter is lit; NaN where it must be stated and is not."""
    if emitter.duty is not None:
        return float(emitter.duty.value)
    if emitter.drive == "coded" and emitter.code:
        # As if it blinked all day: errs high, for eyes, heat and cells alike.
        return emitter.code.count("1") / len(emitter.code)
    return {"steady": 1.0, "switched": SWITCHED_DUTY}.get(emitter.drive, math.nan)


def diodes_of(emitter: CarriedEmitter) -> int:
    """How many diodes make one carried light."""
    return emitter.wiring.diodes if emitter.wiring else 1


def circuits_of_rig(rig: Rig, shelf: Shelf) -> list[Supplied]:
    """Every circuit of a rig: of what is carried, of illuminators and of anchors."""
    return [
        *(_carried(thing, f"carried[{i}]", shelf) for i, thing in enumerate(rig.carried)),
        *_illuminators(rig, shelf),
        *_anchors(rig, shelf),
    ]


def _carried(thing: Carried, path: str, shelf: Shelf) -> Supplied:
    branches = []
    for j, light in enumerate(thing.emitters):
        part = shelf.find("emitter", light.part) if light.part else None
        if isinstance(part, EmitterPart) and light.current is not None:
            branches.append(
                Branch(
                    path=f"{path}.emitters[{j}]",
                    light=light.id,
                    part=part,
                    wiring=light.wiring or ONE_DIODE,
                    current_a=light.current.value,
                    drive=light.drive,
                    duty=duty_of(light),
                    pulse_s=light.pulse.value if light.pulse else math.nan,
                )
            )
    cell = shelf.find("cell", thing.cell) if thing.cell else None
    return Supplied(
        kind="carried",
        name=thing.id,
        path=path,
        feed_path=f"{path}.cell",
        feed=thing.cell,
        cell=cell if isinstance(cell, CellPart) else None,
        cells=thing.cells,
        switch=thing.switch,
        branches=tuple(branches),
    )


def _illuminators(rig: Rig, shelf: Shelf) -> list[Supplied]:
    found = []
    for i, camera in enumerate(rig.cameras):
        if camera.illuminator is not None:
            found.append(_illuminator(camera, f"cameras[{i}].illuminator", shelf))
    return found


def _illuminator(camera: Camera, path: str, shelf: Shelf) -> Supplied:
    lights = camera.illuminator
    assert lights is not None  # its callers have looked
    wiring = lights.wiring or Wiring(strings=lights.count)
    return _standing(
        "illuminator",
        camera.id,
        path,
        lights.part,
        lights.current.value,
        wiring,
        lights.feed,
        shelf,
    )


def _anchors(rig: Rig, shelf: Shelf) -> list[Supplied]:
    return [
        _standing(
            "anchor",
            each.id,
            f"anchors[{i}]",
            each.part,
            each.current.value,
            each.wiring or ONE_DIODE,
            each.feed,
            shelf,
        )
        for i, each in enumerate(rig.anchors)
    ]


def _standing(
    kind: LightKind,
    name: str,
    path: str,
    part_id: str,
    current_a: float,
    wiring: Wiring,
    feed: Feed | None,
    shelf: Shelf,
) -> Supplied:
    """The circuit of a light that stands in the room and is always on."""
    part = shelf.find("emitter", part_id)
    lit = (
        (Branch(path, name, part, wiring, current_a, "steady", 1.0, math.nan),)
        if isinstance(part, EmitterPart)
        else ()
    )
    cell = shelf.find("cell", feed.part) if feed else None
    return Supplied(
        kind=kind,
        name=name,
        path=path,
        feed_path=f"{path}.feed" if feed is None else f"{path}.feed.part",
        feed=feed.part if feed else None,
        cell=cell if isinstance(cell, CellPart) else None,
        cells=feed.cells if feed else 1,
        switch="none",
        branches=lit,
    )
