"""What a rig costs: part by part, with what is not known said rather than taken as nothing."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass

from rushlight.records.document import Basis
from rushlight.records.figure import Figure, Scope
from rushlight.records.rig import Rig
from rushlight.records.sourced import Price
from rushlight.records.wiring import ONE_DIODE
from rushlight.shelf.catalogue import Kind, Shelf
from rushlight.shelf.circuits import diodes_of
from rushlight.shelf.reflect import SHEET

# From the weakest ground to the firmest: a sum rests on its weakest part.
_WEAKEST_FIRST: tuple[Basis, ...] = (
    "invented",
    "simulated",
    "predicted",
    "typical",
    "published",
    "measured",
)


@dataclass(frozen=True)
class CostLine:
    """One thing to buy.

    Attributes
    ----------
    what
        Id of the part, or the user's own word for something else.
    kind
        Of the part; None for something else that the rig prices.
    count
        How many are needed.
    price
        Of one, or None when it is not known.
    """

    what: str
    kind: Kind | None
    count: int
    price: Price | None

    @property
    def amount(self) -> float | None:
        """Of all of them, in the price's currency; None when the price is not known."""
        return None if self.price is None else self.count * self.price.amount


def parts_used(rig: Rig) -> list[tuple[Kind, str]]:
    """Kind and id of every part of a rig, once for each piece."""
    used: list[tuple[Kind, str]] = []
    for surface in rig.surfaces:
        used += [("display", surface.display)] if surface.display else []
    for camera in rig.cameras:
        used.append(("camera", camera.part))
        used += [("filter", camera.filter)] if camera.filter else []
        if camera.illuminator:
            used += [("emitter", camera.illuminator.part)] * camera.illuminator.count
    for carried in rig.carried:
        for light in carried.emitters:
            used += [("emitter", light.part)] * diodes_of(light) if light.part else []
        used += [("sheet", each.sheet or SHEET) for each in carried.emitters if each.reflector]
        used += [("cell", carried.cell)] * carried.cells if carried.cell else []
    for anchor in rig.anchors:
        used += [("emitter", anchor.part)] * (anchor.wiring or ONE_DIODE).diodes
    feeds = [each.feed for each in rig.anchors]
    feeds += [camera.illuminator.feed for camera in rig.cameras if camera.illuminator]
    for feed in feeds:
        used += [("cell", feed.part)] * feed.cells if feed else []
    return used


def cost_lines(rig: Rig, shelf: Shelf) -> list[CostLine]:
    """What a rig is bought from, and at which price.

    The rig's own prices go before those of the shelf. A price of the rig that names no part of
    it counts as something else bought once (timber, wire).
    """
    counts = Counter(parts_used(rig))
    lines = []
    for (kind, part_id), count in counts.items():
        part = shelf.find(kind, part_id)
        price = rig.prices.get(part_id) or (part.price if part else None)
        lines.append(CostLine(part_id, kind, count, price))
    used = {part_id for _, part_id in counts}
    lines += [
        CostLine(what, None, 1, price) for what, price in rig.prices.items() if what not in used
    ]
    return lines


def cost_std(rig: Rig, shelf: Shelf) -> float | None:
    """Standard deviation of what a rig costs, in its currency.

    Lines are taken as independent and pieces of one line as bought together; what costs nothing
    has no spread.

    Returns
    -------
    float or None
        None where a line's price has no known spread.
    """
    spreads = []
    for line in cost_lines(rig, shelf):
        price = line.price
        if price is None or price.amount == 0:
            continue
        if price.std is None:
            return None
        spreads.append(line.count * price.std)
    return math.hypot(*spreads)


def cost_figure(rig: Rig, shelf: Shelf) -> Figure:
    """What a rig costs in all.

    Returns
    -------
    Figure
        Its value is None when no price is known or the prices are in several currencies; its
        method says what is not known and so not counted, and its basis is the weakest of the
        prices'.
    """
    lines = cost_lines(rig, shelf)
    priced = [(line, line.price) for line in lines if line.price is not None]
    unknown = [line.what for line in lines if line.price is None]
    currencies = sorted({price.currency for _, price in priced})
    method = f"sum of {len(priced)} priced lines"
    if len(currencies) > 1:
        method += f"; not added up across {' and '.join(currencies)}"
    if unknown:
        method += f"; price not known, not counted: {', '.join(unknown)}"
    if priced:
        dates = sorted(price.date for _, price in priced)
        method += f"; prices of {dates[0]}" + (f" to {dates[-1]}" if dates[-1] != dates[0] else "")
    bases = {price.basis for _, price in priced}
    total = round(sum(line.count * price.amount for line, price in priced), 2)
    return Figure(
        name="cost",
        statistic="value",
        scope=Scope(rig=rig.name),
        value=total if len(currencies) == 1 else None,
        unit=currencies[0] if len(currencies) == 1 else "",
        n=len(priced),
        method=method,
        basis=next((basis for basis in _WEAKEST_FIRST if basis in bases), "typical"),
    )
