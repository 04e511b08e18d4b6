"""Which press belongs to which mark, when people wrote down only the order of the marks."""

from __future__ import annotations

from dataclasses import dataclass, replace

from rushlight.assess.recording import Recording
from rushlight.errors import Finding, RushlightError
from rushlight.records.marks import MarkList
from rushlight.records.session import ShownGoal

LEAST_PRESS_S = 0.3
"""A shorter press was passing or bouncing, and touches no mark (the project's own choice; a mark
asks for 0.6 s)."""


@dataclass(frozen=True)
class _Held:
    carried: str
    from_ns: int
    until_ns: int


def touched_in_order(recording: Recording, marks: MarkList, where: str) -> Recording:
    """The session with its goals: the first mark for the first held press, and so on.

    Parameters
    ----------
    recording
        A session whose footage did not say what stood on the display.
    marks
        In the order of touching.
    where
        Name of the list, for messages.

    Raises
    ------
    RushlightError
        When the session tells its goals itself, or holds another number of presses, or a press
        by another stylus than the list says: one missed mark would shift all that follow.
    """
    if recording.goals:
        raise RushlightError.of(
            where,
            "",
            f"is not needed: {recording.name} tells itself which marks stood when",
            "leave the list out",
            "marks-needless",
        )
    held = [one for one in _held(recording) if one.until_ns - one.from_ns >= LEAST_PRESS_S * 1e9]
    if len(held) != len(marks.marks):
        at = ", ".join(f"{(one.from_ns - recording.frame_ns[0]) * 1e-9:.1f}" for one in held)
        raise RushlightError.of(
            where,
            f"{len(marks.marks)} marks",
            f"does not match the {len(held)} presses of {LEAST_PRESS_S:g} s or more in "
            f"{recording.name}" + (f", which begin at {at} s" if held else ""),
            "touch each mark once, in order, and hold it for 0.6 s; or correct the list",
            "marks-and-presses-differ",
        )
    goals = []
    for number, (mark, one) in enumerate(zip(marks.marks, held, strict=True)):
        if mark.carried is not None and mark.carried not in recording.header.carried:
            raise RushlightError.of(
                f"{where}: marks[{number}].carried",
                f'"{mark.carried}"',
                f"is not carried in {recording.name}",
                f"use one of {', '.join(recording.header.carried)}",
                "marks-carried",
            )
        goals.append(
            ShownGoal(
                # Who touched is what the list says: names of trails are told by motion alone.
                carried=mark.carried or one.carried,
                block="marks",
                trial=number,
                place_m=(mark.place[0].value, mark.place[1].value),
                from_ns=one.from_ns,
                until_ns=one.until_ns,
            )
        )
    return replace(recording, header=recording.header.model_copy(update={"goals": goals}))


def _held(recording: Recording) -> list[_Held]:
    """Every press with its release, in order of time; an unreleased one lasts to the end."""
    last_ns = int(recording.frame_ns[-1])
    open_presses: dict[int, tuple[str, int]] = {}
    held = []
    for event in recording.events:
        if event.kind == "switch-down" and event.carried:
            open_presses[event.trail] = (event.carried, event.time_ns)
        elif event.kind == "switch-up" and event.trail in open_presses:
            carried, from_ns = open_presses.pop(event.trail)
            held.append(_Held(carried, from_ns, event.time_ns))
    held += [_Held(carried, from_ns, last_ns) for carried, from_ns in open_presses.values()]
    return sorted(held, key=lambda one: one.from_ns)


def by_hand(where: str) -> Finding:
    """What an error against marks by hand contains beside the rig's own.

    Parameters
    ----------
    where
        Name of the list.
    """
    return Finding(
        "note",
        "marks-by-hand",
        where,
        "",
        "places marks by ruler and touches them by hand: both are contained in every error",
        "measure the marks to a millimetre, and hold the tip on them",
    )
