"""Parts that a rig may be made of. Every number carries its source."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal

from pydantic import Field, model_validator

from rushlight.records.document import Document, Record, Slug
from rushlight.records.quantity import Dimension
from rushlight.records.sourced import Price, Sourced


class Part(Record):
    """What all parts have: an id, a plain description, and a price or none.

    Subclasses list in `DIMENSIONS` what each sourced field must measure; a pure number is None.
    """

    DIMENSIONS: ClassVar[dict[str, Dimension | None]] = {}

    id: Slug
    name: str
    note: str = ""
    price: Price | None = None

    @model_validator(mode="after")
    def _dimensions_fit(self) -> Part:
        for field, dimension in self.DIMENSIONS.items():
            value = getattr(self, field)
            if isinstance(value, Sourced) and value.dimension != dimension:
                raise ValueError(
                    f'{field} has the unit "{value.unit}", which is not a unit of '
                    f"{dimension or 'a pure number'}; give one that is"
                )
        return self


class CameraPart(Part):
    """A camera with its lens."""

    DIMENSIONS = {
        "pixel_pitch": "length",
        "focal_length": "length",
        "f_number": None,
        "lens_transmission": "share",
        "lens_blur": "pixels",
        "quantum_efficiency_850": "share",
        "quantum_efficiency_940": "share",
        "read_noise": "electrons",
        "full_well": "electrons",
        "black_level": None,
        "frame_rate": "frequency",
        "shortest_exposure": "time",
        "row_time": "time",
        "delay": "time",
        "k1": None,
        "k2": None,
        "p1": None,
        "p2": None,
        "k3": None,
    }

    size_px: tuple[Annotated[int, Field(gt=7, le=20000)], Annotated[int, Field(gt=7, le=20000)]]
    pixel_pitch: Sourced
    focal_length: Sourced
    f_number: Sourced
    lens_transmission: Sourced
    lens_blur: Sourced
    quantum_efficiency_850: Sourced
    quantum_efficiency_940: Sourced
    read_noise: Sourced
    full_well: Sourced
    black_level: Sourced
    bit_depth: Annotated[int, Field(ge=8, le=16)]
    frame_rate: Sourced
    shortest_exposure: Sourced
    shutter: Literal["rolling", "global"]
    row_time: Sourced | None = None
    delay: Sourced
    infrared_cut: bool = False
    k1: Sourced
    k2: Sourced
    p1: Sourced | None = None
    p2: Sourced | None = None
    k3: Sourced | None = None

    @model_validator(mode="after")
    def _rolling_needs_row_time(self) -> CameraPart:
        if self.shutter == "rolling" and self.row_time is None:
            raise ValueError("a rolling shutter needs a row time; add row_time")
        return self


class EmitterPart(Part):
    """An infrared light-emitting diode."""

    DIMENSIONS = {
        "wavelength": "length",
        "half_angle": "angle",
        "intensity": "radiant intensity",
        "test_current": "current",
        "forward_voltage": "voltage",
        "greatest_current": "current",
        "greatest_power": "power",
        "thermal_resistance": "thermal resistance",
        "side_share": "share",
        "apparent_size": "length",
    }

    wavelength: Sourced
    half_angle: Sourced
    intensity: Sourced
    test_current: Sourced
    forward_voltage: Sourced
    greatest_current: Sourced
    greatest_power: Sourced
    thermal_resistance: Sourced | None = None
    side_share: Sourced
    apparent_size: Sourced


class CapacityPoint(Record):
    """Charge that a cell gives at one steady load."""

    current: Sourced
    charge: Sourced


class CellPart(Part):
    """A cell, or the supply that stands in for one."""

    DIMENSIONS = {
        "voltage": "voltage",
        "end_voltage": "voltage",
        "greatest_current": "current",
        "greatest_pulse": "current",
    }

    chemistry: Literal["alkaline", "nickel-metal hydride", "lithium coin", "lithium ion", "usb"]
    voltage: Sourced
    end_voltage: Sourced
    capacity: list[CapacityPoint] = []
    greatest_current: Sourced
    greatest_pulse: Sourced | None = None


class FilterPart(Part):
    """A filter before the lens that keeps visible light out."""

    DIMENSIONS = {
        "centre": "length",
        "width": "length",
        "edge": "length",
        "transmission": "share",
        "leak": "share",
        "effective_index": None,
    }

    passes: Literal["long", "band"]
    edge: Sourced | None = None
    centre: Sourced | None = None
    width: Sourced | None = None
    transmission: Sourced
    leak: Sourced
    effective_index: Sourced | None = None

    @model_validator(mode="after")
    def _band_or_edge(self) -> FilterPart:
        if self.passes == "band" and (self.centre is None or self.width is None):
            raise ValueError("a band filter needs its centre and width; add them")
        if self.passes == "long" and self.edge is None:
            raise ValueError("a long-pass filter needs its edge; add it")
        return self


class DisplayPart(Part):
    """A projector, television or monitor."""

    DIMENSIONS = {
        "refresh": "frequency",
        "delay": "time",
        "throw_ratio": None,
    }

    technology: Literal["projector", "television", "monitor"]
    size_px: tuple[int, int]
    refresh: Sourced
    delay: Sourced
    throw_ratio: Sourced | None = None


class ShelfDocument(Document):
    """A shelf file: parts by kind."""

    SCHEMA = "rushlight/shelf"

    title: str = ""
    cameras: list[CameraPart] = []
    emitters: list[EmitterPart] = []
    cells: list[CellPart] = []
    filters: list[FilterPart] = []
    displays: list[DisplayPart] = []


class PartMeasured(Document):
    """What was measured of one part at hand; each value overrides the shelf's."""

    SCHEMA = "rushlight/part-measured"

    part: Slug
    kind: Literal["camera", "emitter", "cell", "filter", "display"]
    specimen: str = ""
    values: dict[str, Sourced]
