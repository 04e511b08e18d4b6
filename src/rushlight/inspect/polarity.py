"""Which way round an emitter is wired, from takes with its two leads either way."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from rushlight.errors import Finding
from rushlight.inspect.result import warning

SWAPPED = "swapped"
"""The word in a take's name that says that the two leads were changed over."""

REVERSE = (
    "a diode is not made for voltage the wrong way round (5 V at most on many data sheets, from "
    "memory): change its leads over only with its resistor in place, at a supply of 5 V or less, "
    "switched off meanwhile, and for no longer than the take"
)


@dataclass(frozen=True)
class Polarity:
    """What the takes with changed leads tell.

    Attributes
    ----------
    reasons, findings
        In words.
    wrong
        Emitters that are wired the wrong way round.
    """

    reasons: tuple[str, ...]
    findings: tuple[Finding, ...]
    wrong: frozenset[str]


def polarity(as_wired: Mapping[str, bool], changed: Mapping[str, bool]) -> Polarity:
    """Compare what shines as it is wired with what shines with its leads changed over.

    Parameters
    ----------
    as_wired, changed
        Whether each emitter was seen, by its name; an emitter may be missing in either.
    """
    reasons, findings, wrong = [], [], set()
    for who, shines_changed in changed.items():
        shines = as_wired.get(who)
        if shines and shines_changed:
            reasons.append(f"{who}: shines either way round; was one of its takes named wrongly?")
        elif shines:
            reasons.append(f"{who}: the right way round, and dark with its leads changed over")
        elif shines_changed:
            wrong.add(who)
            known = "dark as it is wired, and " if shines is not None else ""
            reasons.append(f"{who}: {known}shines with its leads changed over")
            findings.append(
                warning(
                    "emitter-reversed",
                    f"emitters: {who}",
                    "",
                    "shines with its leads changed over: it is wired the wrong way round",
                    "switch the supply off, and leave its leads as they are in that take",
                )
            )
        else:
            reasons.append(
                f"{who}: dark either way round, so that its polarity is not what is wrong"
            )
    return Polarity(tuple(reasons), tuple(findings), frozenset(wrong))
