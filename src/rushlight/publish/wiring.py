"""The circuits of a plan, drawn: strings, switch, cells and resistors with the plan's numbers."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from xml.sax.saxutils import escape, quoteattr

from rushlight.publish.sheet import INK, PAPER, Drawing
from rushlight.publish.wording import significant, with_unit
from rushlight.records.circuit import PlanBranch, PlanCircuit
from rushlight.records.parts import CellPart, EmitterPart
from rushlight.shelf.catalogue import Shelf

MOST_DRAWN = 3
"""Strings drawn of many alike, and diodes drawn of a long string; the words tell how many."""
NOTE = "predicted from typical parts, not tried; low voltage only, never mains"
"""Stands below every circuit."""
_CAPTION = 16.0
_RESISTOR, _DIODE = 2.6, 1.9
_CLOSE, _APART = 1.6, 5.0
# Lengths of the drawing, in its own unit: of a resistor and a diode, and between strings.


@dataclass(frozen=True)
class Circuit:
    """One circuit, built once for every light that it names.

    Attributes
    ----------
    lights
        Things that need one each.
    plan
        Its numbers.
    emitters
        Part of every branch.
    cell
        What feeds it, or None.
    """

    lights: tuple[str, ...]
    plan: PlanCircuit
    emitters: tuple[EmitterPart, ...]
    cell: CellPart | None

    @property
    def drawable(self) -> bool:
        """Whether supply and every resistor are known."""
        return self.cell is not None and all(
            each.resistor_ohm is not None for each in self.plan.branches
        )


def circuits_of(circuits: Sequence[PlanCircuit], shelf: Shelf) -> list[Circuit]:
    """Every different circuit of a plan, with the lights that share it.

    Parameters
    ----------
    circuits
        Of the plan, in the order of the rig.
    shelf
        The rig's parts.
    """
    alike: dict[str, list[PlanCircuit]] = {}
    for circuit in circuits:
        alike.setdefault(circuit.model_copy(update={"name": "x"}).model_dump_json(), []).append(
            circuit
        )
    return [
        Circuit(
            lights=tuple(_name(each) for each in same),
            plan=same[0],
            emitters=tuple(shelf.emitter(each.part) for each in same[0].branches),
            cell=shelf.cell(same[0].feed) if same[0].feed else None,
        )
        for same in alike.values()
    ]


def _name(circuit: PlanCircuit) -> str:
    words = {"carried": "", "illuminator": "illuminator of ", "anchor": "anchor "}
    return words[circuit.kind] + circuit.name


def supply_words(circuit: Circuit) -> str:
    """Cells or supply, and their voltage, a line each."""
    if circuit.cell is None:
        return ""
    volts = with_unit(significant(circuit.plan.nominal_v), "V")
    count = f"{circuit.plan.cells} × " if circuit.plan.cells > 1 else ""
    if circuit.cell.chemistry == "usb":
        return f"{count}{circuit.cell.name}"
    return f"{count}{circuit.cell.name}\nin a holder\n{volts} in all"


def switch_words(circuit: Circuit) -> str:
    """What closes the circuit."""
    return {"tip": "switch at the tip", "button": "push button", "none": "switch"}[
        circuit.plan.switch
    ]


def resistor_words(branch: PlanBranch) -> str:
    """Value and rating of one string's resistor."""
    rating = "" if branch.rating_w is None else f", {branch.rating_w:g} W or more"
    return f"{with_unit(significant(branch.resistor_ohm), 'ohm')}{rating}"


def emitter_words(branch: PlanBranch, part: EmitterPart) -> str:
    """What shines, how many in a string, and the current, a line each."""
    wavelength = f"{part.wavelength.si * 1e9:.0f} nm"
    count = "infrared emitter"
    if branch.in_series > 1:
        count = f"{branch.in_series} infrared emitters in series"
    milliamperes = None if branch.nominal_a is None else 1e3 * branch.nominal_a
    pulses = " in pulses" if branch.drive in ("pulsed", "coded") else ""
    flow = f"{with_unit(significant(milliamperes), 'mA')} flow{pulses}"
    return f"{count}\n{wavelength}\n{flow}"


def circuit_text(circuit: Circuit) -> str:
    """The circuit in one sentence, for steps and for those who cannot see the drawing."""
    loops = []
    for branch, part in zip(circuit.plan.branches, circuit.emitters, strict=True):
        which = f"for {branch.light} " if len(circuit.plan.branches) > 1 else ""
        times = f"{branch.strings} times side by side: " if branch.strings > 1 else ""
        each = " of its own" if branch.strings > 1 else ""
        loops.append(
            f"{which}{times}a resistor{each} of {resistor_words(branch)}, then anode to cathode "
            f"the {emitter_words(branch, part).replace(chr(10), ', ')}"
        )
    control = "; current pulses need a driver of their own in place of the switch" * any(
        branch.drive in ("pulsed", "coded") for branch in circuit.plan.branches
    )
    supply = supply_words(circuit).replace("\n", ", ")
    return (
        f"From the plus side of the supply ({supply}) through "
        f"the {switch_words(circuit)}, then {'; and '.join(loops)}, and back to the minus "
        f"side{control}"
    )


def wiring_drawing(circuit: Circuit, name: str) -> Drawing:
    """A circuit as a schematic.

    Parameters
    ----------
    circuit
        That is `drawable`.
    name
        Of the drawing's file, without ending.
    """
    import schemdraw
    from schemdraw import elements as elm

    height = _RESISTOR + max(_diodes_drawn(b) for b in circuit.plan.branches) * _DIODE
    with schemdraw.Drawing(canvas="svg", show=False, fontsize=11, unit=3.6) as drawing:
        # Upward from minus to plus: the battery's long plate is its plus side.
        supply = elm.Battery().up().length(height).reverse()
        drawing += supply.label(supply_words(circuit), ofst=0.35)
        drawing += elm.Label().at((0.55, height / 2 + 0.5)).label("+", fontsize=14)
        drawing += elm.Label().at((0.55, height / 2 - 0.5)).label("−", fontsize=14)
        drawing += elm.Switch().at(supply.end).right().label(switch_words(circuit), ofst=0.15)
        _draw_branches(drawing, elm, circuit, drawing.here, height)
        text = drawing.get_imagedata("svg").decode()
    title = f"Circuit for {', '.join(circuit.lights)}"
    description = f"{circuit_text(circuit)}."
    return Drawing(name, title, description, _ours(text, title, description))


def _diodes_drawn(branch: PlanBranch) -> int:
    return min(branch.in_series, MOST_DRAWN)


def _draw_branches(drawing: Any, elm: Any, circuit: Circuit, plus: Any, height: float) -> None:
    """Every string below the plus rail, each to the right of the last, down to the minus rail."""
    x, top = float(plus[0]), float(plus[1])
    for number, (branch, part) in enumerate(
        zip(circuit.plan.branches, circuit.emitters, strict=True)
    ):
        copies = min(branch.strings, MOST_DRAWN)
        for copy in range(copies):
            last = copy == copies - 1
            drawing += elm.Line().at((x, top)).down().length(0.01)
            resistor = elm.Resistor().at((x, top)).down().length(_RESISTOR)
            words = resistor_words(branch).replace(", ", "\n")
            drawing += resistor.label(words, loc="bottom", ofst=0.25) if last else resistor
            for diode in range(_diodes_drawn(branch)):
                light = elm.LED().down().length(_DIODE)
                labelled = last and diode == 0
                words = emitter_words(branch, part)
                if branch.strings > 1:
                    words += f"\n{branch.strings} such strings, {copies} drawn"
                drawing += light.label(words, loc="bottom", ofst=0.6) if labelled else light
            drawing += elm.Line().toy(top - height)
            step = _CLOSE if not last else _APART
            if not (last and number == len(circuit.plan.branches) - 1):
                for y in (top, top - height):
                    drawing += elm.Dot().at((x, y))
                    drawing += elm.Line().at((x, y)).right().length(step)
                x += step
    drawing += elm.Line().at((float(plus[0]), top - height)).left().tox(0.0)


def _ours(text: str, title: str, description: str) -> str:
    """The drawn schematic in this project's look, with words for those who cannot see it."""
    head, body = re.match(r"<svg([^>]*)>(.*)</svg>\s*$", text, re.DOTALL).groups()  # type: ignore[union-attr]
    left, top, width, height = (
        float(part)
        for part in re.search(r'viewBox="([^"]+)"', head).group(1).split()  # type: ignore[union-attr]
    )
    margin, aside = 10.0, 40.0  # the drawing library reckons words narrower than browsers set them
    body = re.sub(r"stroke-dasharray:-;?", "", body)
    body = body.replace("black", "currentColor").replace('font-family="sans"', "")
    body = body.replace("fill:white", f"fill:{PAPER}")
    box = (left - aside, top - margin, width + 2 * aside, height + 2 * margin + _CAPTION)
    place = f'x="{left:.1f}" y="{top + height + _CAPTION:.1f}" font-size="9" fill="currentColor"'
    caption = f"<text {place}>{escape(NOTE)}</text>"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="drawing circuit" role="img" '
        f'aria-label={quoteattr(title)} width="{box[2]:.1f}pt" height="{box[3]:.1f}pt" '
        f'viewBox="{" ".join(f"{value:.2f}" for value in box)}" color="{INK}" '
        f'font-family="system-ui, sans-serif">\n<title>{escape(title)}</title>\n'
        f"<desc>{escape(description)}</desc>\n"
        f'<rect class="paper" x="{box[0]:.2f}" y="{box[1]:.2f}" width="{box[2]:.2f}" '
        f'height="{box[3]:.2f}" fill="{PAPER}"/>\n{body}\n{caption}\n</svg>\n'
    )
