"""Whether a registration in space may be relied on, in words; and what no fit can get round."""

from __future__ import annotations

import numpy as np
from scipy import special

from rushlight.errors import RushlightError
from rushlight.physics.sighting import HELD_STD_M
from rushlight.records.arrays import Array
from rushlight.records.space_registration import LengthCheck, SpaceRow
from rushlight.register.space_left import LeftOver
from rushlight.register.space_marks import Sightings
from rushlight.register.space_solve import Known, Solved

LEVEL = 0.99
"""Two-sided level at which the residuals are held against their expectation (our own choice)."""

FEWEST = {"looks": 4, "placings": 3, "swing": 15}
"""Fewer rows than this tell no camera (our own choice)."""

FEWEST_TELLING = {"looks": 8, "placings": 6, "swing": 30}
"""Fewest rows for a registration that is vouched for: of fewer, a bad one may not show."""

LEAST_LEFT_PX = 0.005
"""Where less is left over at the dots than this, their pixels say nothing: every row's pose takes
it all up, as with two lights."""

LEAST_EXTENT = 5.0
"""Marks must spread over so many of the deviations of a held point, across their line too."""


def rows_word(method: str) -> str:
    """What the rows of a method are called."""
    return "moments of the swing" if method == "swing" else method


def too_great(solved: Solved[Array]) -> bool:
    """Whether the misfit is greater than everything that was supposed explains."""
    return bool(solved.misfit > special.chdtri(solved.freedom, (1.0 - LEVEL) / 2.0))


def reasons_for(
    method: str,
    known: Known,
    solved: Solved[Array],
    rows: list[SpaceRow],
    lengths: list[LengthCheck],
    left: LeftOver,
) -> tuple[list[str], list[str]]:
    """What speaks against relying on it, and what else is to be told."""
    against, notes = [], []
    word = rows_word(method)
    count = sum(row.used for row in rows)
    bad = [row for row in rows if not row.used]
    if bad:
        notes.append(f"left out as bad: {_named(bad)}")
    agreement = f"all in all {np.sqrt(solved.misfit / solved.freedom):.2f} times what is expected"
    if left.whole_expected_px >= LEAST_LEFT_PX:
        agreement = (
            f"dots lie {left.whole_px:.2f} px rms from where they should, "
            f"{left.whole_expected_px:.2f} px expected; {agreement}"
        )
    if too_great(solved):
        against.append(
            f"{agreement}: something moved, or cameras, lenses, lights or marks are less exact "
            "than stated"
        )
    else:
        notes.append(f"{count} {word} agree: {agreement}")
    if count < FEWEST_TELLING[method]:
        against.append(
            f"only {count} {word} are usable and {FEWEST_TELLING[method]} are needed to tell a "
            "bad one"
        )
    for check in lengths:
        (against if check.agrees is False else notes).append(length_words(check))
    notes.append(_gained(known, solved))
    return against, notes


def _named(bad: list[SpaceRow]) -> str:
    """Rows in words: by their marks, or by when they were."""
    if bad[0].mark_m is None:
        return f"{len(bad)} moments of the swing"
    at = ", ".join(
        "(" + ", ".join(f"{step:.3f}" for step in row.mark_m) + ") m" for row in bad if row.mark_m
    )
    return f"the {bad[0].kind}{'s' if len(bad) > 1 else ''} at {at}"


def length_words(check: LengthCheck) -> str:
    """A length check as a sentence without its stop."""
    what = f"{check.lights[0]} and {check.lights[1]} of {check.carried}"
    told = f"{check.told_m * 1e3:.1f} mm"
    if not np.isfinite(check.std_m):
        return f"how far {what} are apart, {told}, is taken as told: nothing else gives the scale"
    found = f"{check.found_m * 1e3:.1f} ± {check.std_m * 1e3:.1f} mm"
    if check.agrees is None:
        return f"{what} are found {found} apart, too doubtful to check the {told} that were told"
    if check.agrees:
        return f"{what} are found {found} apart, which agrees with the {told} that were told"
    return (
        f"{what} are found {found} apart where {told} were told: measure them again, and where "
        "the cameras stand"
    )


def _gained(known: Known, solved: Solved[Array]) -> str:
    """How exactly the cameras are known now and were before, at the worst of them."""
    before, after = np.diag(known.cov).reshape(-1, 15), np.diag(solved.cov).reshape(-1, 15)
    place, turn = (np.sqrt(after[:, part].max()) for part in (slice(0, 3), slice(3, 6)))
    place_0, turn_0 = (np.sqrt(before[:, part].max()) for part in (slice(0, 3), slice(3, 6)))
    return (
        f"cameras are known to {place * 1e3:.1f} mm and {np.degrees(turn):.2f}° along the worst "
        f"axis, where {place_0 * 1e3:.0f} mm and {np.degrees(turn_0):.1f}° were known before"
    )


def refuse_few(count: int, method: str) -> None:
    """Refuse fewer rows than tell a camera."""
    if count < FEWEST[method]:
        raise RushlightError.of(
            "registration",
            f"{count} {rows_word(method)}",
            f"are too few: {FEWEST[method]} are the least that tell a camera, "
            f"{FEWEST_TELLING[method]} the least for a registration that is vouched for",
            {
                "looks": "look past more pairs of marks, from all over the place where the eye "
                "moves",
                "placings": "hold the point on more marks, spread over the display",
                "swing": "swing the bar for half a minute where two cameras see both its lights",
            }[method],
            f"too-few-{method}",
        )


def refuse_line(rows: Sightings, method: str) -> None:
    """Refuse marks in one spot or on one line."""
    places = np.stack([anchor.place_m for anchor in rows.anchors])
    narrow = np.linalg.svd(places - places.mean(axis=0), compute_uv=False)[1] / np.sqrt(len(places))
    if narrow < LEAST_EXTENT * HELD_STD_M:
        raise RushlightError.of(
            "registration",
            f"{len(rows)} {method}",
            "lie in one spot or on one line, so that the camera could be turned about it",
            "spread the marks both ways",
            "marks-on-a-line",
        )
