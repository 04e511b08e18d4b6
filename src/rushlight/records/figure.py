"""Figures: every number the tool states, whether predicted, measured or wanted.

A prediction joins its measurement on (name, cause, statistic, scope).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

import numpy as np
from pydantic import Field

from rushlight.records.arrays import Array, ArrayRecord, shaped
from rushlight.records.document import Basis, Record, Slug

FigureName = Literal[
    "error",
    "trueness",
    "precision",
    "jitter",
    "delay",
    "delay-displacement",
    "coverage",
    "dropouts",
    "shadow",
    "projector-shadow",
    "ambient",
    "reading-distance",
    "throughput",
    "task-error-rate",
    "movement-time",
    "effective-width",
    "millimetres-a-pixel",
    "incidence",
    "dot-width",
    "dot-separation",
    "reach-near",
    "reach-far",
    "electrons",
    "grey-peak",
    "exposure",
    "view-left",
    "depth-of-field-near",
    "depth-of-field-far",
    "resistor",
    "current",
    "resistor-power",
    "runtime",
    "light-left",
    "eye-irradiance-share",
    "eye-lens-share",
    "eye-radiance-share",
    "cost",
    "registration-error",
    "relative-performance",
    "relative-cost",
    "turn-error",
    "range-error",
    "picture-error",
    "view-angle",
    "length-error",
    "reprojection",
    "other-pose",
    "drift",
]
Cause = Literal[
    "centre", "registration", "lens", "flatness", "tip", "pixel", "all",
    "build", "point", "turning", "two-eyes",
    "exposure", "readout", "camera", "computing", "display", "frame-wait",
]  # fmt: skip
Statistic = Literal["rms", "median", "p95", "mean", "max", "min", "share", "value"]

CAUSE_WORDS: dict[str, str] = {
    "centre": "dot centre",
    "registration": "registration",
    "lens": "lens left-over",
    "flatness": "wall not flat",
    "tip": "tip offset and tilt",
    "pixel": "display pixel",
    "all": "all causes together",
    "exposure": "half the exposure",
    "readout": "reading the rows out",
    "camera": "camera's own delay",
    "computing": "computing",
    "display": "display's own delay",
    "frame-wait": "waiting for the next frames",
    "build": "lights off the drawing",
    "point": "eye, hinge or tip off",
    "turning": "pose left open",
    "two-eyes": "each eye beside the middle",
}
"""The causes in the user's words."""

ERROR_CAUSES: tuple[Cause, ...] = ("centre", "registration", "lens", "flatness", "tip", "pixel")
SPACE_CAUSES: tuple[Cause, ...] = ("centre", "registration", "lens", "build", "point", "turning")
"""Causes of error of rigs that follow things in space: `centre` to `lens` as on a surface; lights
that do not sit where the drawing says; the point that counts (eye, hinge, tip) off from where it
is supposed on the thing; and what the dots leave open of the pose."""


class Scope(Record):
    """What a figure speaks about; fields left out are not restricted."""

    rig: Slug | None = None
    camera: Slug | None = None
    surface: Slug | None = None
    carried: Slug | None = None
    person: Slug | None = None
    region: str | None = None
    condition: str | None = None


class Figure(Record):
    """One number: a budget line, measure, target, expected value or verdict's ground.

    Attributes
    ----------
    name, cause, statistic, scope
        What it is; a prediction joins its measurement on these four.
    value, unit
        In the unit's word; None when it could not be found.
    low, high, level
        Interval and its level, None when there is none.
    n, method
        Number of values it rests on, and how it was found.
    basis
        Measured, simulated, predicted, published or invented.
    """

    name: FigureName
    cause: Cause | None = None
    statistic: Statistic
    scope: Scope = Scope()
    value: float | None
    unit: str
    low: float | None = None
    high: float | None = None
    level: Annotated[float, Field(gt=0, lt=1)] | None = None
    n: int | None = None
    method: str = ""
    basis: Basis

    @property
    def key(self) -> tuple[str, str | None, str, str]:
        """What predictions and measurements are joined on."""
        return (self.name, self.cause, self.statistic, self.scope.model_dump_json())


def find_figure(
    figures: list[Figure], name: str, cause: str | None = None, statistic: str | None = None
) -> Figure | None:
    """The first figure of a name, and of a cause and statistic where given."""
    return next(
        (
            figure
            for figure in figures
            if figure.name == name
            and (cause is None or figure.cause == cause)
            and (statistic is None or figure.statistic == statistic)
        ),
        None,
    )


@dataclass(frozen=True, eq=False)
class FieldMap(ArrayRecord):
    """Values over space: (K, Z, Y, X) for K named quantities with their units.

    Attributes
    ----------
    x_m, y_m, z_m
        Axes [m].
    values
        (K, Z, Y, X); NaN where unknown.
    names, units
        One word each for every one of the K quantities.
    """

    names: tuple[str, ...]
    units: tuple[str, ...]
    x_m: Array = shaped("X")
    y_m: Array = shaped("Y")
    z_m: Array = shaped("Z")
    values: Array = shaped("K", "Z", "Y", "X")

    def of(self, name: str) -> Array:
        """The (Z, Y, X) values of one quantity."""
        return np.asarray(self.values[self.names.index(name)])
