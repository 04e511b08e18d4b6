"""What sittings on the page of trials show, device by device.

Places come from the browser's pointer events, so they hold whatever lies between hand and
picture: for the rig its own error and delay, for a mouse the computer's own way with it. A hand
is always mixed in: nothing here is a rig's trueness by itself.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from rushlight.assess.holds import SETTLING_SHARE, Hold
from rushlight.assess.joining import compare
from rushlight.assess.recording import Recording, Track
from rushlight.assess.tapping import tapping_blocks, tapping_figures
from rushlight.assess.trials_align import align_figures, align_trials
from rushlight.assess.trials_beside import beside_measured
from rushlight.assess.trials_figures import grid_by_hand, still_figures
from rushlight.errors import Finding, RushlightError
from rushlight.records.arrays import Array
from rushlight.records.assessment import (
    AssessedSession,
    Assessment,
    Comparison,
    SessionKind,
    TappingBlock,
)
from rushlight.records.document import Basis
from rushlight.records.figure import Figure, Scope
from rushlight.records.session import Event, SessionHeader
from rushlight.records.space_assessment import ViewTrial
from rushlight.records.trials import RunKind, Sitting, TrialRun

KINDS: dict[RunKind, SessionKind] = {
    "tap": "tapping",
    "still": "still",
    "grid": "grid",
    "align": "view-task",
}


def assess_sittings(
    sittings: Sequence[tuple[str, Sitting]], predicted: Sequence[Figure] = ()
) -> Assessment:
    """What sittings at one rig show: throughput, misses, steadiness, view task.

    Parameters
    ----------
    sittings
        File names and sittings; several of one device count as one, but those of an invented
        hand apart from those of people.
    predicted
        What is expected of the rig's own, to stand beside what is found.

    Returns
    -------
    Assessment
        Not yet stamped.

    Raises
    ------
    RushlightError
        When they belong to different rigs, or hold no trial.
    """
    names = sorted({sitting.rig_name for _, sitting in sittings})
    if len(names) > 1:
        raise RushlightError.of(
            "assess", ", ".join(names), "are different rigs", "assess each rig apart", "rigs-differ"
        )
    if not any(sitting.runs for _, sitting in sittings):
        raise RushlightError.of(
            ", ".join(name for name, _ in sittings), "", "holds no trial",
            "do a task on the page of trials", "sitting-empty",
        )  # fmt: skip
    figures: list[Figure] = []
    findings: list[Finding] = []
    blocks: list[TappingBlock] = []
    views: list[ViewTrial] = []
    sessions: list[AssessedSession] = []
    holds: list[Hold] = []
    for device, basis in sorted({(sitting.device, _basis(sitting)) for _, sitting in sittings}):
        own = [pair for pair in sittings if (pair[1].device, _basis(pair[1])) == (device, basis)]
        found = _device(own, _scope(own[0][1]), basis)
        figures += found.figures
        findings += found.findings
        blocks += found.blocks
        views += found.views
        sessions += found.sessions
        holds += found.holds
    beside = beside_measured([sitting for _, sitting in sittings], figures)
    simulated = any(_basis(sitting) == "simulated" for _, sitting in sittings)
    return Assessment(
        rig=next((sitting.rig for _, sitting in sittings if sitting.rig), None),
        rig_name=names[0],
        basis="simulated" if simulated else "measured",
        sessions=sessions,
        conditions=[],
        places=[hold.result() for hold in holds],
        taps=blocks,
        view_trials=views,
        figures=figures,
        compared=[_with_source(row, predicted) for row in compare(predicted, figures)],
        reference=beside.reference if beside else None,
        relative=beside.rows if beside else [],
        findings=list(dict.fromkeys([*findings, *(beside.findings if beside else [])])),
    )


class _Found:
    """What one device gave."""

    def __init__(self) -> None:
        self.figures: list[Figure] = []
        self.findings: list[Finding] = []
        self.blocks: list[TappingBlock] = []
        self.views: list[ViewTrial] = []
        self.sessions: list[AssessedSession] = []
        self.holds: list[Hold] = []


def _with_source(row: Comparison, predicted: Sequence[Figure]) -> Comparison:
    """What is expected of a hand stands in no plan, so that how it was come by is told with it."""
    how = "; ".join(dict.fromkeys(each.method for each in predicted if each.name == row.name))
    return row.model_copy(update={"reading": f"{row.reading}; predicted of {how}"})


def _device(own: Sequence[tuple[str, Sitting]], scope: Scope, basis: Basis) -> _Found:
    found = _Found()
    held: dict[RunKind, list[Hold]] = {"still": [], "grid": []}
    for name, sitting in own:
        if sitting.rig is None:
            found.findings.append(
                Finding(
                    "note", "trials-rig-changed", name, "",
                    "is not of one rig alone, which was changed within it: nothing predicted "
                    "stands beside it", "begin a new sitting",
                )
            )  # fmt: skip
        people = {sitting.device: sitting.participant.id}
        for run in sitting.runs:
            where = f"{name}: {run.block} {run.number}"
            recording = recording_of(sitting, run, where)
            kind = {"kind": KINDS[run.kind], "cause_word": "all that acts on the page"}
            found.sessions.append(recording.summary().model_copy(update=kind))
            found.findings += _run_findings(run, where)
            if run.kind == "tap":
                blocks, told = tapping_blocks(recording, people)
                found.blocks += blocks
                found.findings += told
            elif run.kind == "align":
                found.views += align_trials(run, where, basis)
            else:
                held[run.kind] += holds_of_run(recording, run)
    if found.blocks:
        figures, told = tapping_figures(found.blocks, scope, basis == "simulated")
        found.figures += figures
        found.findings += told
    found.figures += still_figures(held["still"], scope)
    found.figures += grid_by_hand(held["grid"], scope)
    found.figures += align_figures(found.views, scope)
    found.holds = held["grid"]
    return found


def _scope(sitting: Sitting) -> Scope:
    """The rig's own figures stand under its name alone, as those of sessions do."""
    carried = None if sitting.role == "rig" else sitting.device
    return Scope(rig=sitting.rig_name, carried=carried)


def _basis(sitting: Sitting) -> Basis:
    return "simulated" if sitting.header and sitting.header.basis == "simulated" else "measured"


def recording_of(sitting: Sitting, run: TrialRun, name: str) -> Recording:
    """A run as a session is read, so that it is assessed by the same functions.

    Parameters
    ----------
    sitting, run
        The run and whose it is.
    name
        For messages.

    Returns
    -------
    Recording
        Every press has its own trail, with its first place at the moment when it went down.
    """
    down_ns = np.array([press.down_ns for press in run.presses], dtype=np.int64)
    places = np.array([press.place_m for press in run.presses], dtype=float).reshape(-1, 2)
    samples = np.column_stack([run.x_m, run.y_m]) if run.time_ns else np.zeros((0, 2))
    time_ns = np.concatenate([np.array(run.time_ns, dtype=np.int64), down_ns])
    trail = np.concatenate([np.full(len(samples), -1), np.arange(len(down_ns))])
    order = np.argsort(time_ns, kind="stable")
    unknown = np.full(len(order), -1, dtype=np.int64)
    lit = _pressed(run, time_ns)
    track = Track(
        time_ns[order], time_ns[order], unknown, trail[order],
        np.concatenate([samples, places])[order], lit[order],
    )  # fmt: skip
    header = SessionHeader(
        rig=sitting.rig,
        rig_name=sitting.rig_name,
        cameras=[],
        carried=[sitting.device],
        clocks=[],
        script={"tap": "tapping", "grid": "grid"}.get(run.kind, run.kind),
        goals=[goal.model_copy(update={"carried": sitting.device}) for goal in run.goals],
    )
    events = tuple(
        Event(press.down_ns, "switch-down", sitting.device, number)
        for number, press in enumerate(run.presses)
    )
    frames = np.unique(time_ns)
    if run.kind == "align":
        moments = [each for trial in run.align for each in (trial.shown_ns, trial.said_ns)]
        frames = np.unique(np.array(moments, dtype=np.int64))
    tracks = {sitting.device: track}
    return Recording(name, header, _basis(sitting), True, frames, tracks, events)


def _pressed(run: TrialRun, time_ns: Array) -> Array:
    lit = np.zeros(len(time_ns), dtype=bool)
    for press in run.presses:
        lit |= (time_ns >= press.down_ns) & (time_ns <= press.up_ns)
    return lit


def holds_of_run(recording: Recording, run: TrialRun) -> list[Hold]:
    """Every mark that was held: the last press that began while it stood, until it went.

    The first fifth of each is left out, as of holds in sessions.

    Parameters
    ----------
    recording
        From `recording_of`.
    run
        The same run.
    """
    (track,) = recording.tracks.values()
    holds = []
    for goal in recording.goals:
        began = [
            press
            for press in run.presses
            if goal.from_ns <= press.down_ns <= goal.until_ns and press.up_ns >= goal.until_ns
        ]
        if not began:
            continue
        start = began[-1].down_ns + SETTLING_SHARE * (goal.until_ns - began[-1].down_ns)
        rows = (track.valid_ns >= start) & (track.valid_ns <= goal.until_ns)
        off = track.xy_m[rows] - np.asarray(goal.place_m)
        holds.append(Hold(recording, goal, off, off, len(off), 0))
    return holds


def _run_findings(run: TrialRun, where: str) -> list[Finding]:
    told = {
        "window": "was done while the page did not fill the display, so that lengths are those of "
        "the window's scale",
        "hidden": "was interrupted: the page was hidden while a mark stood",
        "rescaled": "was done while the page's size or scale changed",
    }
    return [
        Finding("warning", f"trials-{flag}", where, "", told[flag], "do this block again")
        for flag in dict.fromkeys(run.flags)
    ]
