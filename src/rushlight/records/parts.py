"""Parts that a rig may be made of. Every number carries its source."""

from __future__ import annotations

import itertools
import math
from typing import Annotated, ClassVar, Literal

from pydantic import Field, model_validator

from rushlight.records.document import Country, Document, Record, Slug
from rushlight.records.quantity import Dimension
from rushlight.records.sourced import Price, Sourced


class Part(Record):
    """What all parts have: an id, a plain description, and a price or none.

    Subclasses list in `DIMENSIONS` what each sourced field must measure; a pure number is None.
    Every value is finite and above 0, but for those in `MAY_BE_ZERO` and `ANY_SIGN`.

    Attributes
    ----------
    sold_in
        Countries in which it can be bought (ISO 3166-1 alpha-2); none means that nobody said.
    """

    DIMENSIONS: ClassVar[dict[str, Dimension | None]] = {}
    MAY_BE_ZERO: ClassVar[frozenset[str]] = frozenset()
    ANY_SIGN: ClassVar[frozenset[str]] = frozenset()

    id: Slug
    name: str
    note: str = ""
    price: Price | None = None
    sold_in: list[Country] = []

    @model_validator(mode="after")
    def _dimensions_fit(self) -> Part:
        for field, dimension in self.DIMENSIONS.items():
            value = getattr(self, field)
            if isinstance(value, Sourced) and value.dimension != dimension:
                raise ValueError(
                    f'{field} has the unit "{value.unit}", which is not a unit of '
                    f"{dimension or 'a pure number'}; give one that is"
                )
            if isinstance(value, Sourced):
                self._check_range(field, value)
        return self

    def _check_range(self, field: str, given: Sourced) -> None:
        text = f"{given.value:g} {given.unit}".strip()
        if not math.isfinite(given.value):
            raise ValueError(f"has {field} = {text}, which is no number; give one, or leave it out")
        if given.value < 0 and field not in self.ANY_SIGN:
            raise ValueError(f"has {field} = {text}, which is below 0; correct it")
        if given.value == 0 and field not in self.ANY_SIGN | self.MAY_BE_ZERO:
            raise ValueError(f"has {field} = 0, which cannot be; give its value")
        if given.unit == "%" and given.value > 100:
            raise ValueError(f"has {field} = {text}, which is more than all; give at most 100 %")


class CameraPart(Part):
    """A camera with its lens.

    Attributes
    ----------
    quantum_efficiency_850, quantum_efficiency_940
        Electrons a photon at 850 and at 940 nm.
    full_well
        Electrons at full scale with a gain of 1.
    black_level
        Grey level of darkness in the 8-bit picture.
    row_time
        From one row's start to the next's; a rolling shutter needs it.
    delay
        From the end of the exposure to the frame in memory.
    k1, k2, p1, p2, k3
        Brown–Conrady distortion of the lens.
    """

    MAY_BE_ZERO = frozenset({"black_level", "delay", "row_time", "lens_blur", "read_noise"})
    ANY_SIGN = frozenset({"k1", "k2", "p1", "p2", "k3"})

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
    """An infrared light-emitting diode.

    Attributes
    ----------
    half_angle
        From the axis to half the intensity.
    intensity
        On the axis, at `test_current`.
    forward_voltage
        At `test_current`.
    side_share
        Share of the light that leaves the bare part evenly in all directions.
    wired
        Whether it comes with resistor, leads and holder, so that nothing is left to solder.
    junction_limit
        Greatest temperature of the chip.
    series_resistance
        Of the part itself, by which its voltage rises with the current.
    greatest_pulse, longest_pulse, greatest_pulse_duty
        Greatest current of pulses of at most this length, lit for at most this share.
    spectral_width
        Of the spectrum at half its peak; left out, the light counts as of one wavelength.
    """

    MAY_BE_ZERO = frozenset({"side_share"})

    DIMENSIONS = {
        "wavelength": "length",
        "spectral_width": "length",
        "half_angle": "angle",
        "intensity": "radiant intensity",
        "test_current": "current",
        "forward_voltage": "voltage",
        "greatest_current": "current",
        "greatest_power": "power",
        "thermal_resistance": "thermal resistance",
        "junction_limit": "temperature",
        "series_resistance": "resistance",
        "greatest_pulse": "current",
        "longest_pulse": "time",
        "greatest_pulse_duty": "share",
        "side_share": "share",
        "apparent_size": "length",
    }

    wavelength: Sourced
    spectral_width: Sourced | None = None
    half_angle: Sourced
    intensity: Sourced
    test_current: Sourced
    forward_voltage: Sourced
    greatest_current: Sourced
    greatest_power: Sourced
    thermal_resistance: Sourced | None = None
    wired: bool = False
    junction_limit: Sourced | None = None
    series_resistance: Sourced | None = None
    greatest_pulse: Sourced | None = None
    longest_pulse: Sourced | None = None
    greatest_pulse_duty: Sourced | None = None
    side_share: Sourced
    apparent_size: Sourced

    @model_validator(mode="after")
    def _half_angle_is_one(self) -> EmitterPart:
        if self.half_angle.si >= math.pi / 2:
            raise ValueError(
                f"has half_angle = {self.half_angle.value:g} {self.half_angle.unit}, which is no "
                "half angle; give the angle from the axis to half the intensity, below 90°"
            )
        return self


class CapacityPoint(Record):
    """Charge that a cell gives at one steady load."""

    current: Sourced
    charge: Sourced


class DischargePoint(Record):
    """Voltage of one cell at a modest load when a share of its charge is used."""

    used: Annotated[float, Field(ge=0, le=1)]
    voltage: Sourced


class CellPart(Part):
    """A cell, or the supply that stands in for one.

    Attributes
    ----------
    capacity
        To `end_voltage`.
    discharge
        Voltage over the discharge, from fresh (0 used) to spent (1), at a modest load.
    internal_resistance
        By which the voltage sags below that under load.
    """

    DIMENSIONS = {
        "voltage": "voltage",
        "end_voltage": "voltage",
        "greatest_current": "current",
        "greatest_pulse": "current",
        "internal_resistance": "resistance",
    }

    chemistry: Literal["alkaline", "nickel-metal hydride", "lithium coin", "lithium ion", "usb"]
    voltage: Sourced
    end_voltage: Sourced
    capacity: list[CapacityPoint] = []
    discharge: list[DischargePoint] = []
    internal_resistance: Sourced | None = None
    greatest_current: Sourced
    greatest_pulse: Sourced | None = None

    @model_validator(mode="after")
    def _discharge_runs_down(self) -> CellPart:
        used = [point.used for point in self.discharge]
        volts = [point.voltage.si for point in self.discharge]
        if used and (
            used[0] != 0 or used[-1] != 1 or any(b <= a for a, b in itertools.pairwise(used))
        ):
            raise ValueError(
                "has a discharge whose shares used do not rise from 0 to 1; give them in order, "
                "from 0 when fresh to 1 when spent"
            )
        if any(b > a for a, b in itertools.pairwise(volts)):
            raise ValueError("has a discharge whose voltage rises; correct it")
        return self


class FilterPart(Part):
    """A filter before the lens that keeps visible light out.

    Attributes
    ----------
    edge
        Of a long pass: shortest wavelength that it lets through.
    centre, width
        Of a band filter, for light that comes straight on.
    transmission, leak
        Within, and outside, what it passes.
    effective_index
        Of an interference filter's coating, by which its band shifts with the angle.
    """

    MAY_BE_ZERO = frozenset({"leak"})

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


class SheetPart(Part):
    """Retro-reflective sheet, as graded: how strongly it returns light [cd·lx⁻¹·m⁻²].

    Attributes
    ----------
    near_straight, near_aside
        Lens 0.2° from the lamp as seen from the sheet; light falling in at 4° and at 30°.
    far_straight, far_aside
        The same with the lens 0.5° from the lamp.
    """

    DIMENSIONS = {
        "near_straight": None,
        "near_aside": None,
        "far_straight": None,
        "far_aside": None,
    }

    near_straight: Sourced
    near_aside: Sourced
    far_straight: Sourced
    far_aside: Sourced

    @property
    def graded_cd_lx_m2(self) -> list[list[float]]:
        """(2, 2): rows by observation angle, columns by entrance angle."""
        return [
            [self.near_straight.si, self.near_aside.si],
            [self.far_straight.si, self.far_aside.si],
        ]


class DisplayPart(Part):
    """A projector, television or monitor.

    Attributes
    ----------
    luminous_flux, lens_diameter
        Of a projector: of a white picture, and across the lit part of the lens.
    """

    MAY_BE_ZERO = frozenset({"delay"})

    DIMENSIONS = {
        "refresh": "frequency",
        "delay": "time",
        "throw_ratio": None,
        "luminous_flux": "luminous flux",
        "lens_diameter": "length",
    }

    technology: Literal["projector", "television", "monitor"]
    size_px: tuple[int, int]
    refresh: Sourced
    delay: Sourced
    throw_ratio: Sourced | None = None
    luminous_flux: Sourced | None = None
    lens_diameter: Sourced | None = None


class ShelfDocument(Document):
    """A shelf file: parts by kind."""

    SCHEMA = "rushlight/shelf"

    title: str = ""
    cameras: list[CameraPart] = []
    emitters: list[EmitterPart] = []
    cells: list[CellPart] = []
    filters: list[FilterPart] = []
    displays: list[DisplayPart] = []
    sheets: list[SheetPart] = []


class PartMeasured(Document):
    """What was measured of one part at hand; each value overrides the shelf's."""

    SCHEMA = "rushlight/part-measured"

    part: Slug
    kind: Literal["camera", "emitter", "cell", "filter", "display", "sheet"]
    specimen: str = ""
    values: dict[str, Sourced]
