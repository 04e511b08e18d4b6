"""The circuit of each carried light, drawn from the rig and the plan's own numbers."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from xml.sax.saxutils import escape, quoteattr

from rushlight.publish.sheet import INK, PAPER, Drawing
from rushlight.publish.wording import significant, with_unit
from rushlight.records.figure import Figure
from rushlight.records.parts import CellPart, EmitterPart
from rushlight.records.rig import Carried, CarriedEmitter, Rig
from rushlight.shelf.catalogue import Shelf
from rushlight.shelf.resolve import lit_emitters

RATINGS_W = (0.25, 0.5, 1.0, 2.0, 3.0, 5.0, 10.0)
"""Power ratings on sale (common practice, no source)."""


@dataclass(frozen=True)
class Circuit:
    """One circuit, built once for every carried light that it names.

    Attributes
    ----------
    lights
        Carried things that need one each.
    emitter, cell
        Parts.
    cells
        In series.
    switch
        Tip, button or none.
    resistor_ohm, current_ma, heat_mw
        As planned; None where the plan could not tell.
    rating_w
        Least rating on sale that bears twice the heat.
    """

    lights: tuple[str, ...]
    emitter: EmitterPart
    cell: CellPart | None
    cells: int
    switch: str
    resistor_ohm: float | None
    current_ma: float | None
    heat_mw: float | None
    rating_w: float | None

    @property
    def supply_v(self) -> float | None:
        """Nominal voltage of the cells in series [V]."""
        return None if self.cell is None else self.cells * self.cell.voltage.si

    @property
    def drawable(self) -> bool:
        """Whether supply and resistor are known."""
        return self.cell is not None and self.resistor_ohm is not None


def circuits_of(rig: Rig, shelf: Shelf, figures: Sequence[Figure]) -> list[Circuit]:
    """Every different circuit of a rig, with the lights that share it.

    Parameters
    ----------
    rig, shelf
        The rig and its parts.
    figures
        Of its plan: resistor, current, heat, in the order of the rig's lights.
    """
    found: list[Circuit] = []
    taken: dict[str, int] = {}
    for carried, emitter in lit_emitters(rig):
        position = taken.get(carried.id, 0)
        taken[carried.id] = position + 1
        one = _circuit(carried, emitter, shelf, figures, position)
        known = next((each for each in found if replace(each, lights=()) == one), None)
        if known is not None:
            found.remove(known)
        found.append(replace(one, lights=(*(known.lights if known else ()), carried.id)))
    return found


def _circuit(
    carried: Carried, light: CarriedEmitter, shelf: Shelf, figures: Sequence[Figure], position: int
) -> Circuit:
    def planned(name: str) -> float | None:
        own = [f.value for f in figures if f.name == name and f.scope.carried == carried.id]
        return own[position] if position < len(own) else None

    heat = planned("resistor-power")
    return Circuit(
        lights=(),
        emitter=shelf.emitter(light.part or ""),
        cell=shelf.cell(carried.cell) if carried.cell else None,
        cells=carried.cells,
        switch=carried.switch,
        resistor_ohm=planned("resistor"),
        current_ma=planned("current"),
        heat_mw=heat,
        rating_w=None if heat is None else rating_on_sale(2e-3 * heat),
    )


def rating_on_sale(needed_w: float) -> float | None:
    """The least rating on sale at or above what is needed [W]; None when none is that large.

    Examples
    --------
    >>> rating_on_sale(0.06), rating_on_sale(0.3), rating_on_sale(100.0)
    (0.25, 0.5, None)
    """
    return next((rating for rating in RATINGS_W if rating >= needed_w), None)


def parts_words(circuit: Circuit) -> dict[str, str]:
    """The words beside each symbol: supply, switch, resistor and emitter."""
    switch = {"tip": "switch at the tip", "button": "push button", "none": "switch"}
    cell = circuit.cell
    supply = "" if cell is None else f"{circuit.cells} × {cell.name}\n{_volts(circuit)} in all"
    rating = "" if circuit.rating_w is None else f", {circuit.rating_w:g} W or more"
    emitter = circuit.emitter
    wavelength = f"{emitter.wavelength.si * 1e9:.0f} nm"
    return {
        "supply": supply,
        "switch": switch[circuit.switch],
        "resistor": f"{with_unit(significant(circuit.resistor_ohm), 'ohm')}{rating}",
        "emitter": f"infrared emitter\n{wavelength}\n"
        f"{with_unit(significant(circuit.current_ma), 'mA')} flow",
    }


def _volts(circuit: Circuit) -> str:
    return with_unit(significant(circuit.supply_v), "V")


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

    words = parts_words(circuit)
    with schemdraw.Drawing(canvas="svg", show=False, fontsize=11, unit=3.6) as drawing:
        # Upward from minus to plus: the battery's long plate is its plus side.
        battery = elm.Battery().up().reverse().label(words["supply"], ofst=0.35)
        drawing += battery
        drawing += elm.Label().at((0.55, 2.3)).label("+", fontsize=14)
        drawing += elm.Label().at((0.55, 1.3)).label("−", fontsize=14)
        drawing += elm.Switch().at(battery.end).right().label(words["switch"], ofst=0.15)
        drawing += elm.Resistor().right().label(words["resistor"], ofst=0.15)
        drawing += elm.LED().down().label(words["emitter"], loc="bottom", ofst=0.6)
        drawing += elm.Line().left().tox(battery.start)
        text = drawing.get_imagedata("svg").decode()
    title = f"Circuit for {', '.join(circuit.lights)}"
    flat = {key: value.replace("\n", ", ") for key, value in words.items()}
    description = (
        f"In series, round one loop: plus side of the cells ({flat['supply']}), "
        f"{flat['switch']}, resistor {flat['resistor']}, anode then cathode of the "
        f"{flat['emitter']}, back to the minus side."
    )
    return Drawing(name, title, description, _ours(text, title, description))


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
    box = (left - aside, top - margin, width + 2 * aside, height + 2 * margin)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="drawing circuit" role="img" '
        f'aria-label={quoteattr(title)} width="{box[2]:.1f}pt" height="{box[3]:.1f}pt" '
        f'viewBox="{" ".join(f"{value:.2f}" for value in box)}" color="{INK}" '
        f'font-family="system-ui, sans-serif">\n<title>{escape(title)}</title>\n'
        f"<desc>{escape(description)}</desc>\n"
        f'<rect class="paper" x="{box[0]:.2f}" y="{box[1]:.2f}" width="{box[2]:.2f}" '
        f'height="{box[3]:.2f}" fill="{PAPER}"/>\n{body}\n</svg>\n'
    )
