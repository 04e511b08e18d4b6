"""Every morning: is the rig as it was registered, so that work may begin?

Two touches judge the map, the picture judges the light, kept sessions judge the cells. Anything
that speaks against beginning is a no-go with its reason.
"""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path
from queue import SimpleQueue

import numpy as np

from rushlight.errors import Finding, RushlightError
from rushlight.jobs.belonging import camera_of
from rushlight.jobs.load import load_rig, rig_path
from rushlight.jobs.ready_cells import NEARLY_SHARE, CellsUsed, hours_of_sessions
from rushlight.jobs.ready_light import judge_light
from rushlight.jobs.ready_telling import ReadyResult, ReadyShow, ReadyState
from rushlight.jobs.ready_watch import Checking
from rushlight.jobs.register_live import Asks, Source, Wishes
from rushlight.jobs.registering import Ground
from rushlight.jobs.sources import source_given
from rushlight.jobs.surveyed import survey_of_registration, unheeded, without_survey_doubt
from rushlight.jobs.told import keep_told
from rushlight.jobs.touching import styli_of
from rushlight.plan.beacons import beacon_field
from rushlight.plan.evaluate import evaluate
from rushlight.plan.grid import Standing
from rushlight.plan.power import power_lines
from rushlight.records.document import Basis
from rushlight.records.joint_registration import registration_of
from rushlight.records.registration import DisplaySurvey, Registration
from rushlight.records.rig import Rig
from rushlight.register.checking import Checked, check, check_places
from rushlight.see.detect import Detector
from rushlight.shelf.catalogue import Shelf
from rushlight.shelf.resolve import resolve
from rushlight.track.rig import noise_of

PATIENCE_S = 60.0
"""How long a check touch is waited for [s]; no source."""


def ready(
    rig_file: Path,
    registration_path: Path | None = None,
    show: ReadyShow | None = None,
    source: str | Source | None = None,
    *,
    touched_by: str | None = None,
    asks: Asks | None = None,
    patience_s: float = PATIENCE_S,
    cells_since: str | None = None,
) -> ReadyResult:
    """Check a registered rig by two touches, its light and its cells: go or no-go.

    What is told is kept beside the rig.

    Parameters
    ----------
    rig_file
        The rig's file, or its folder.
    registration_path
        None for the last one beside the rig.
    show
        Told what happens, and by it the display what to show.
    source
        As `open_source` takes it, or one that is open; None for the rig's own. With a rehearsal,
        its hands are asked to the beacons.
    touched_by
        Which stylus touches; the first that registered when left out.
    asks
        What the user wants meanwhile; ``{"stop": true}`` ends the check with a no-go.
    patience_s
        How long a touch is waited for [s]; one that does not come is a no-go.
    cells_since
        The day on which cells were put in, as ``"2026-11-02"``; sessions before do not count.

    Raises
    ------
    RushlightError
        When an input cannot be used. What the user finds amiss in the rig is no error but a no-go.
    """
    rig, shelf = load_rig(rig_file)
    file = rig_path(rig_file)
    _check_kind(rig, file.name)
    since = _day(cells_since)
    path = last_registration(file.parent) if registration_path is None else registration_path
    with source_given(source, rig_file) as opened:
        resolved = resolve(rig, shelf, file.name)
        camera = camera_of(rig, resolved, opened, file.name)
        registration = registration_of(path, opened.camera)
        standing = Standing.of_rig(rig)
        if not np.all(np.isfinite(resolved.cameras.exposure_s)):
            resolved = resolved.with_exposure(evaluate(resolved, standing=standing).exposure_s)
        survey, unfit = _survey(registration, file, rig)
        ground = Ground(rig, resolved, camera, file.name, opened.size_px, survey)
        findings, taken_over = _resumed(ground, registration, path.name)
        findings = [*findings, *unfit]
        told_by_touches = without_survey_doubt(registration, survey)
        carried = _stylus(rig, registration, touched_by)
        emitter = ground.emitters([carried])[0]
        places = beacon_field(resolved, standing, (emitter,), camera)
        able = np.flatnonzero(places.touchable[0])
        # Of every place its own: far aside, the way of holding moves the light more.
        scatter_m = places.scatter_m[0, able]
        stand_m = ground.stands(places.places_m[able])
        pair, turn_rad = check_places(told_by_touches, stand_m, scatter_m)
        goals_m = places.places_m[able[list(pair)]]
        stand_m = stand_m[list(pair)]
        wishes = Wishes(asks or SimpleQueue())
        run = Checking(ground, carried, goals_m, show, wishes, patience_s, opened)
        if not any(each.severity == "error" for each in findings):
            run.watch(Detector(*opened.size_px, noise_of(resolved, camera, opened.full_scale_dn)))
        findings = [*findings, *opened.findings, *run.findings]
        held = [hold for hold in run.holds if hold is not None]
        simulated = opened.simulated
        full_scale_dn = opened.full_scale_dn
    checked = None
    if len(held) == len(goals_m):
        checked = check(
            told_by_touches,
            stand_m,
            np.array([hold.px for hold in held]),
            np.array([hold.px_cov for hold in held]),
            scatter_m[list(pair)],
            np.array(registration.aside_m.get(carried, (0.0, 0.0))),
        )
        findings += _moved(checked)
    light, told = judge_light(
        resolved,
        camera,
        emitter,
        run.room,
        full_scale_dn,
        [touch for touch in registration.touches if touch.carried == carried],
        stand_m[: len(held)],
        np.array([hold.flux for hold in held]),
    )
    findings += told if run.room.lights else []
    basis: Basis = "simulated" if simulated else "measured"
    used_h, sessions = hours_of_sessions(file.parent, basis, since)
    cells, worn = _cells(rig, shelf, ground, used_h)
    findings += _unchecked(rig, carried)
    result = ReadyResult(
        simulated=simulated,
        registration_path=path,
        carried=carried,
        goals_m=tuple((float(x_m), float(y_m)) for x_m, y_m in stand_m),
        checked=checked,
        turn_rad=turn_rad,
        light=light,
        cells=cells,
        sessions=sessions,
        taken_over=taken_over,
        findings=(*findings, *worn),
    )
    keep_told("ready", file.with_name("ready"), result)
    if show is not None:
        show.state(ReadyState("judged", len(held), len(goals_m), result.findings))
    return result


def last_registration(folder: Path) -> Path:
    """The registration in a folder that was made last.

    Raises
    ------
    RushlightError
        When there is none.
    """
    found: list[tuple[str, str, Path]] = []
    for path in folder.glob("*.json"):
        try:
            told = json.loads(path.read_text(encoding="utf-8"))
        except (OSError, ValueError):
            continue
        if isinstance(told, dict) and told.get("schema") == Registration.SCHEMA:
            made = str((told.get("header") or {}).get("made_at", ""))
            found.append((made, path.name, path))
    if not found:
        raise RushlightError.of(
            str(folder), "", "holds no registration", "register first, or give --registration",
            "registration-missing",
        )  # fmt: skip
    return max(found)[2]


def _check_kind(rig: Rig, name: str) -> None:
    """Refuse a rig of space, and say what serves there instead."""
    if "surface" in rig.kinds:
        return
    instead = "register it anew by a few looks or placings with register --camera"
    if "volume" in rig.kinds:
        instead = (
            "swing the scale bar anew, follow it with run, and let assess tell its length, or "
            "register anew with register --camera"
        )
    raise RushlightError.of(
        f"{name}: kinds", ", ".join(rig.kinds),
        "follows things in space, and this check is for rigs whose surface is touched",
        instead, "ready-kind",
    )  # fmt: skip


def _day(text: str | None) -> datetime | None:
    if text is None:
        return None
    try:
        return datetime.strptime(text, "%Y-%m-%d").replace(tzinfo=UTC)
    except ValueError:
        raise RushlightError.of(
            "--cells-since", f'"{text}"', "is no day", 'give one such as "2026-11-02"', "day"
        ) from None


def _stylus(rig: Rig, registration: Registration, wanted: str | None) -> str:
    """Which stylus touches: the one asked for, or the first that registered."""
    known = styli_of(rig)
    if wanted is not None and wanted not in known:
        raise RushlightError.of(
            "touched by", f'"{wanted}"', "is no stylus of the rig", f"use {', '.join(known)}",
            "stylus",
        )  # fmt: skip
    registered = [touch.carried for touch in registration.touches if touch.carried in known]
    return wanted or next((each for each in registered if each is not None), known[0])


def _unchecked(rig: Rig, carried: str) -> list[Finding]:
    """Which styli nobody touched with: of their lights nothing was seen."""
    others = [each for each in styli_of(rig) if each != carried]
    if not others:
        return []
    return [
        Finding(
            "note", "styli-unchecked", "ready: other styli", ", ".join(others),
            "touched nothing, so that of their lights the hours of the cells alone are known",
            "check each with --stylus, or choose it on the page",
        )
    ]  # fmt: skip


def _survey(
    registration: Registration, file: Path, rig: Rig
) -> tuple[DisplaySurvey | None, list[Finding]]:
    """The survey by which the registration knows where marks stand; a no-go where it is amiss."""
    try:
        survey = survey_of_registration(registration, file, rig.surfaces[0])
    except RushlightError as error:
        return None, list(error.findings)
    return survey, unheeded(registration, file)


def _resumed(
    ground: Ground, registration: Registration, name: str
) -> tuple[list[Finding], tuple[int, int] | None]:
    """Whether the registration is of this rig as it is; display pixels where they alone differ."""
    found: list[Finding] = []

    def against(code: str, given: str, why: str) -> None:
        found.append(Finding("error", code, name, given, why, "register anew"))

    valid, surface = registration.valid_for, ground.rig.surfaces[0]
    size_m = ground.resolved.surface.size_m[0]
    if not registration.verdict.vouched:
        against("not-vouched", "", "was not vouched for when it was made")
    if valid.size_px != ground.size_px:
        wide, high = ground.size_px
        told = f"{valid.size_px[0]}×{valid.size_px[1]} px"
        against("picture-size", told, f"is not the camera's picture of now, {wide}×{high} px")
    if valid.surface != surface.id or not np.allclose(valid.surface_size_m, size_m, rtol=1e-6):
        told = f"{valid.surface_size_m[0]:g} × {valid.surface_size_m[1]:g} m"
        against("surface-size", told, f"is not the surface of now, {size_m[0]:g} × {size_m[1]:g} m")
    made_from = registration.header.inputs.get("rig") if registration.header else None
    if made_from in (None, ground.rig.content_hash()):
        return found, None
    if valid.display_px in (None, tuple(surface.pixels)):
        found.append(
            Finding(
                "warning",
                "rig-changed",
                ground.name,
                "",
                "has changed since the registration was made; the touches tell whether it holds",
                "register anew where the camera, the lights or the display were touched",
            )
        )
        return found, None
    before = surface.model_copy(update={"pixels": valid.display_px})
    surfaces = [before, *ground.rig.surfaces[1:]]
    as_it_was = ground.rig.model_copy(update={"surfaces": surfaces})
    was = f"{valid.display_px[0]}×{valid.display_px[1]} px"
    now = f"{surface.pixels[0]}×{surface.pixels[1]} px"
    if as_it_was.content_hash() != made_from:
        against(
            "more-than-pixels",
            f"{was} then, {now} now",
            "is of another display, and the rig has changed in more than its pixels",
        )
        return found, None
    found.append(
        Finding(
            "note",
            "taken-over",
            name,
            f"{was} then, {now} now",
            "is taken over: the display shows the same metres, so marks stand where they stood",
            "",
        )
    )
    return found, valid.display_px


def _moved(checked: Checked) -> list[Finding]:
    """A no-go when the touches miss by more than the registration lets expect."""
    if checked.holds:
        return []
    missed = " and ".join(f"{np.hypot(*each) * 1e3:.1f} mm" for each in checked.missed_m)
    expected = " and ".join(f"{each * 1e3:.1f} mm" for each in checked.expected_m)
    return [
        Finding(
            "error",
            "moved",
            "the check touches",
            missed,
            f"miss their beacons where {expected} are expected, which happens "
            f"{'less than once in 1000' if checked.chance < 1e-3 else f'{checked.chance:.1%}'} "
            "of times where nothing moved",
            "touch once more; if it stays so, the camera or the display has moved: register anew",
        )
    ]


def _cells(
    rig: Rig, shelf: Shelf, ground: Ground, used_h: float
) -> tuple[tuple[CellsUsed, ...], list[Finding]]:
    """Hours of use of everything with cells, and whether they are nearly over."""
    cells: dict[str, CellsUsed] = {}
    for line in power_lines(rig, shelf, ground.resolved):
        if np.isfinite(line.runtime_h):
            cells.setdefault(line.carried, CellsUsed(line.carried, used_h, line.runtime_h))
    findings = []
    for each in cells.values():
        over = each.used_h >= each.runtime_h
        if not over and each.used_h < NEARLY_SHARE * each.runtime_h:
            continue
        findings.append(
            Finding(
                "error" if over else "warning",
                "cells-used",
                f"the cells of {each.carried}",
                f"{each.used_h:.1f} h",
                f"of use are {'over' if over else 'near'} the {each.runtime_h:.0f} h that the plan "
                "predicts, as far as kept sessions tell",
                "put in new cells and say since when, with --cells-since"
                if over
                else "have new cells at hand",
            )
        )
    return tuple(cells.values()), findings
