"""Marks for whoever rebuilds a kit: where to touch so that the result can be judged."""

from __future__ import annotations

import numpy as np

from rushlight.records.arrays import Array
from rushlight.records.marks import Mark, MarkList
from rushlight.records.plan import Plan
from rushlight.records.quantity import parse_quantity

MARKS = 15
"""How many places are touched (the project's own choice): enough for a 95 % interval of a
root-mean-square of about −20 to +34 % (computed from the chi-squared law with 2 × 15 degrees)."""

FROM_BEACON_M = 0.05
"""Marks keep this far from beacons, where a map is better than elsewhere (our own choice)."""


def marks_of(plan: Plan) -> MarkList | None:
    """Places spread over what people reach and the camera sees, away from the beacons.

    Parameters
    ----------
    plan
        For its maps and beacons. Marks are for the first stylus that registers.

    Returns
    -------
    MarkList or None
        Without marks there is no list.
    """
    who = plan.registering[0] if plan.registering else None
    chosen = next((each for each in plan.maps if who in (None, each.carried)), None)
    if chosen is None:
        return None
    fit = (np.array(chosen.of("reached"), float) > 0) & (np.array(chosen.of("in-view"), float) > 0)
    places = np.stack(np.meshgrid(chosen.x_m, chosen.y_m), axis=-1)[fit].round(2)
    beacons = np.array(plan.beacons, float).reshape(-1, 1, 2)
    clear = np.linalg.norm(places - beacons, axis=-1).min(axis=0, initial=np.inf) >= FROM_BEACON_M
    spread = _spread(places[clear], MARKS)
    if not len(spread):
        return None
    return MarkList(
        marks=[
            Mark(
                place=(
                    parse_quantity(f"{100 * x:.0f} cm", "length"),
                    parse_quantity(f"{100 * y:.0f} cm", "length"),
                ),
                carried=chosen.carried,
            )
            for x, y in spread
        ]
    )


def _spread(places: Array, count: int) -> Array:
    """Places far from one another, in the order in which a hand would go: rows from below."""
    if len(places) <= count:
        taken = np.arange(len(places))
    else:
        first = int(np.argmin(np.linalg.norm(places - places.mean(axis=0), axis=1)))
        taken = np.array([first])
        while len(taken) < count:
            apart = np.linalg.norm(places[:, None] - places[taken], axis=-1).min(axis=1)
            taken = np.append(taken, int(np.argmax(apart)))
    chosen = places[taken]
    return np.asarray(chosen[np.lexsort((chosen[:, 0], chosen[:, 1]))])


def marks_text(marks: MarkList) -> str:
    """The list as a person would write it, in TOML.

    Parameters
    ----------
    marks
        From `marks_of`.
    """
    lines = [
        "# Touch these places in this order with the light on, about 0.6 s each, and nothing else.",
        "# To the right and up from the picture's lower-left corner, by ruler. Change them to what",
        "# you really marked.",
        f'schema = "{MarkList.SCHEMA}"',
        f"version = {MarkList.VERSION}",
        "marks = [",
        *(
            f'  {{ place = ["{mark.place[0].text}", "{mark.place[1].text}"]'
            + (f', carried = "{mark.carried}"' if mark.carried else "")
            + " },"
            for mark in marks.marks
        ),
        "]",
    ]
    return "\n".join(lines) + "\n"
