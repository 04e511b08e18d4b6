"""A circuit as planned: its lights, resistors, currents over the cell's life, warmth and hours."""

from __future__ import annotations

from typing import Literal

from rushlight.records.document import Record, Slug


class PlanBranch(Record):
    """One light on a supply: a string of diodes, or several alike side by side.

    Attributes
    ----------
    light, part
        Its id within its thing, and the diode's on the shelf.
    in_series, strings
        Diodes in a string, strings side by side, each on a resistor of its own.
    drive, duty, pulse_s
        As the rig says; None where it does not.
    planned_a, nominal_a, fresh_a, spent_a
        Current of one string [A]: wanted; with the resistor at the supply's nominal voltage;
        when fresh; when spent.
    resistor_ohm, resistor_w, rating_w, resistor_c
        Of each string: preferred value [Ω]; greatest heat, over a long press when fresh [W];
        least rating on sale that bears twice that [W]; its hottest spot then [°C].
    diode_w, diode_bears_w, junction_c
        Greatest power of one diode, light counted as heat; what it bears in that warmth [W];
        its chip then [°C].
    """

    light: str
    part: Slug
    in_series: int
    strings: int
    drive: str
    duty: float | None
    pulse_s: float | None
    planned_a: float
    nominal_a: float | None
    fresh_a: float | None
    spent_a: float | None
    resistor_ohm: float | None
    resistor_w: float | None
    rating_w: float | None
    resistor_c: float | None
    diode_w: float | None
    diode_bears_w: float
    junction_c: float | None


class PlanCircuit(Record):
    """What hangs on one supply; unknown numbers are None.

    Attributes
    ----------
    kind, name
        Carried thing, illuminator (named by its camera) or anchor, and its id.
    feed, cells, switch
        Supply on the shelf, how many in series, and what switches it.
    nominal_v, fresh_v, spent_v
        Of the whole supply [V].
    ambient_c
        Air on the warmest day [°C].
    peak_a, mean_a
        Drawn when fresh while everything is lit, and on average at the duty [A].
    runtime_h
        Until the cells are spent, by integration of their discharge [h].
    half_light_h
        Until the light is half as strong as when fresh [h]; None where it never is.
    light_left
        Light when spent over light when fresh [1].
    curve_known
        Whether the cell's own discharge is known, rather than a straight line.
    """

    kind: Literal["carried", "illuminator", "anchor"]
    name: str
    feed: Slug | None
    cells: int
    switch: str
    nominal_v: float | None
    fresh_v: float | None
    spent_v: float | None
    ambient_c: float
    peak_a: float | None
    mean_a: float | None
    runtime_h: float | None
    half_light_h: float | None
    light_left: float | None
    curve_known: bool
    branches: list[PlanBranch]
