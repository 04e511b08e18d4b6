"""What to buy: how many, what matters about each, and what is known of its price."""

from __future__ import annotations

from dataclasses import dataclass, replace

from rushlight.publish.wiring import Circuit
from rushlight.publish.wording import money, significant, with_unit
from rushlight.records.circuit import PlanBranch
from rushlight.records.document import Basis
from rushlight.records.parts import (
    CameraPart,
    CellPart,
    DisplayPart,
    EmitterPart,
    FilterPart,
    Part,
)
from rushlight.records.rig import Rig
from rushlight.records.sourced import Price, Sourced
from rushlight.shelf.catalogue import Shelf
from rushlight.shelf.cost import CostLine, cost_lines

NOT_LISTED = "not listed by itself"


@dataclass(frozen=True)
class Purchase:
    """One line of the parts table.

    Attributes
    ----------
    name, part
        In words, and the part's id or empty.
    count
        How many.
    matters
        What matters when choosing another make, each with its unit.
    sources
        Where those values come from.
    each, together
        Price of one and of all, or that it is not known.
    price_note
        Date and remark.
    price_basis
        None where no price is known.
    price
        Of one, as told; None where it is not known.
    """

    name: str
    part: str
    count: int
    matters: tuple[str, ...]
    sources: tuple[str, ...]
    each: str
    together: str
    price_note: str
    price_basis: Basis | None
    price: Price | None = None


def purchases(rig: Rig, shelf: Shelf, circuits: list[Circuit]) -> list[Purchase]:
    """Every line of what to buy: the rig's parts, its other priced things, and the resistors."""
    lines = [_purchase(line, shelf, rig) for line in cost_lines(rig, shelf)]
    resistors = [
        _resistor(branch, len(circuit.lights))
        for circuit in circuits
        if circuit.drawable
        for branch in circuit.plan.branches
    ]
    return lines + _alike_together(resistors)


def _alike_together(lines: list[Purchase]) -> list[Purchase]:
    """One line for what is the same but for its number."""
    counts: dict[Purchase, int] = {}
    for line in lines:
        alike = replace(line, count=0)
        counts[alike] = counts.get(alike, 0) + line.count
    return [replace(line, count=count) for line, count in counts.items()]


def _purchase(line: CostLine, shelf: Shelf, rig: Rig) -> Purchase:
    part = shelf.find(line.kind, line.what) if line.kind else None
    price = line.price
    matters, sourced = _matters(part, rig) if part else ((), ())
    note = "" if price is None else "; ".join(t for t in (price.date, price.source) if t)
    return Purchase(
        name=part.name if part else line.what.replace("-", " "),
        part=line.what,
        count=line.count,
        matters=(*matters, part.note) if part and part.note else matters,
        sources=tuple(dict.fromkeys(value.source for value in sourced)),
        each=money(price.amount, price.currency) if price else money(None, ""),
        together=money(line.amount, price.currency) if price else money(None, ""),
        price_note=note,
        price_basis=price.basis if price else None,
        price=price,
    )


def _resistor(branch: PlanBranch, built: int) -> Purchase:
    rating = f"{branch.rating_w:g} W or more" if branch.rating_w else "its rating is not known"
    return Purchase(
        name=f"Resistor, {with_unit(significant(branch.resistor_ohm), 'ohm')}",
        part="",
        count=built * branch.strings,
        matters=(rating, "5 % or closer"),
        sources=(
            "value of series E24, IEC 60063; twice its heat as rating, 5 %: common practice, "
            "no source",
        ),
        each=NOT_LISTED,
        together=NOT_LISTED,
        price_note="",
        price_basis=None,
    )


Matters = tuple[tuple[str, ...], tuple[Sourced, ...]]


def _matters(part: Part, rig: Rig) -> Matters:
    if isinstance(part, CameraPart):
        return _camera(part, rig)
    if isinstance(part, EmitterPart):
        return _emitter(part)
    if isinstance(part, CellPart):
        each, bears = _shown(part.voltage), _shown(part.greatest_current)
        return (
            (part.chemistry, f"{each} each", f"bears {bears}"),
            (part.voltage, part.greatest_current),
        )
    if isinstance(part, FilterPart):
        return _filter(part)
    if isinstance(part, DisplayPart):
        width, height = part.size_px
        pixels, delay = f"{width} × {height} pixels", f"delay {_shown(part.delay)} or less"
        return (pixels, _shown(part.refresh), delay), (part.refresh, part.delay)
    return (), ()


def _camera(part: CameraPart, rig: Rig) -> Matters:
    rate = max(c.frame_rate.value for c in rig.cameras if c.part == part.id)
    width, height = part.size_px
    cut = "with its infrared-cut filter: have it removed" if part.infrared_cut else (
        "no infrared-cut filter"
    )  # fmt: skip
    words = (
        f"{width} × {height} pixels of {_shown(part.pixel_pitch)}",
        f"lens {_shown(part.focal_length)}, f/{part.f_number.value:g}",
        f"{part.shutter} shutter, {rate:g} Hz",
        f"exposure down to {_shown(part.shortest_exposure)}, set by hand",
        cut,
    )
    return words, (part.pixel_pitch, part.focal_length, part.f_number, part.shortest_exposure)


def _emitter(part: EmitterPart) -> Matters:
    words = (
        f"infrared, {_shown(part.wavelength)}",
        f"half angle {_shown(part.half_angle)}",
        f"{_shown(part.intensity)} at {_shown(part.test_current)}",
        f"forward voltage {_shown(part.forward_voltage)}",
        f"bears {_shown(part.greatest_current)}",
    )
    return words, (
        part.wavelength,
        part.half_angle,
        part.intensity,
        part.forward_voltage,
        part.greatest_current,
    )


def _filter(part: FilterPart) -> Matters:
    values: tuple[Sourced, ...]
    if part.passes == "long" and part.edge is not None:
        which, values = f"passes from {_shown(part.edge)} on", (part.edge,)
    else:
        values = tuple(each for each in (part.centre, part.width) if each is not None)
        which = f"passes {', width '.join(map(_shown, values))}"
    words = (which, f"lets through {_shown(part.transmission)}", f"leaks {_shown(part.leak)}")
    return words, (*values, part.transmission, part.leak)


def _shown(value: Sourced) -> str:
    return with_unit(f"{value.value:g}", value.unit)
