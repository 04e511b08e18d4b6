"""Is a rig whole, possible and worth computing? Findings with where, given, allowed, remedy.

What stops the work is an error; what deserves a look a warning. Whether a possible rig is a
good one (how much the camera sees, how far off it points) is for the plan to say.
"""

from __future__ import annotations

import difflib

from rushlight.errors import Finding
from rushlight.records.rig import Rig
from rushlight.shelf.catalogue import Shelf
from rushlight.shelf.check_cameras import check_cameras
from rushlight.shelf.check_carried import check_anchors, check_carried
from rushlight.shelf.check_measured import check_measured
from rushlight.shelf.check_place import check_ambient, check_people, check_surfaces
from rushlight.shelf.check_power import check_power
from rushlight.shelf.check_room import check_room
from rushlight.shelf.check_search import check_search
from rushlight.shelf.check_space import check_space
from rushlight.shelf.compression import check_streams
from rushlight.shelf.cost import parts_used
from rushlight.shelf.reflect import check_reflectors
from rushlight.shelf.report import Report, likeliest

LICENCES = (
    "CC-BY-4.0",
    "CC-BY-SA-4.0",
    "CC0-1.0",
    "CERN-OHL-P-2.0",
    "CERN-OHL-S-2.0",
    "CERN-OHL-W-2.0",
    "Apache-2.0",
    "BSD-3-Clause",
    "GPL-3.0-or-later",
    "MIT",
)
"""Licence identifiers of the SPDX list that suit a published build (a choice of ours)."""


def check_rig(rig: Rig, shelf: Shelf, name: str = "rig.toml") -> list[Finding]:
    """What is wrong or doubtful about a rig.

    Parameters
    ----------
    rig
        As read from its file.
    shelf
        Where its parts are looked up.
    name
        Of the file, to stand in the findings.

    Returns
    -------
    list of Finding
        Errors, warnings and notes in the order of the file; empty when nothing is to be said.
    """
    report = Report(name)
    _check_kinds(rig, report)
    _check_ids(rig, report)
    surface_rig = "surface" in rig.kinds
    _check_licence(rig, report)
    check_surfaces(rig, shelf, report)
    check_cameras(rig, shelf, report)
    check_streams(rig, report)
    check_carried(rig, shelf, report)
    check_anchors(rig, shelf, report)
    check_power(rig, shelf, report)
    check_reflectors(rig, shelf, report)
    check_space(rig, shelf, report)
    check_people(rig, report)
    check_room(rig, shelf, report)
    check_search(rig, shelf, report)
    if surface_rig:
        check_ambient(rig, report)
    _check_targets(rig, report)
    _check_reference(rig, report)
    _check_prices(rig, report)
    check_measured(rig, shelf, report)
    return report.findings


def uncomputed(rig: Rig, name: str = "rig.toml") -> list[Finding]:
    """Notes on what the document may say but this edition of the program cannot compute."""
    report = Report(name)
    others = [kind for kind in rig.kinds if kind != "surface"]
    if "surface" not in rig.kinds:
        return report.findings
    if others:
        report.note(
            "kind-not-computed",
            "kinds",
            rig.kinds,
            "is read and checked, but of a rig of several kinds only the surface is computed yet",
            f"keep the {' and '.join(others)} part in a rig of its own to have it planned",
        )
    for i, carried in enumerate(rig.carried):
        if carried.kind != "stylus":
            report.note(
                "carried-not-computed",
                f"carried[{i}].kind",
                carried.kind,
                "is left out of the plan: of a surface rig only styluses are computed",
                "expect no figures for it",
            )
    return report.findings


def _check_kinds(rig: Rig, report: Report) -> None:
    report.findings += uncomputed(rig, report.name)
    if "surface" not in rig.kinds:
        return
    if not rig.surfaces:
        report.error(
            "surface-missing",
            "surfaces",
            [],
            "is empty, and a surface rig points at a surface",
            "add [[surfaces]] with its id, width, height and pixels",
        )
    lit = [carried for carried in rig.carried if carried.kind == "stylus"]
    if not lit:
        report.error(
            "stylus-missing",
            "carried",
            None,
            "holds no stylus, and a surface rig is pointed at with one",
            'add one with kind = "stylus"',
        )
    if not rig.people:
        report.error(
            "person-missing",
            "people",
            [],
            "is empty, and someone must hold the stylus",
            "add [[people]] with stature, reach and where they stand",
        )


def _check_ids(rig: Rig, report: Report) -> None:
    for path, items in (
        ("surfaces", rig.surfaces),
        ("cameras", rig.cameras),
        ("carried", rig.carried),
        ("anchors", rig.anchors),
        ("people", rig.people),
    ):
        report.ids(path, [item.id for item in items])
    for i, carried in enumerate(rig.carried):
        report.ids(f"carried[{i}].emitters", [emitter.id for emitter in carried.emitters])


def _check_licence(rig: Rig, report: Report) -> None:
    if rig.licence not in LICENCES:
        report.warning(
            "licence-unknown",
            "licence",
            rig.licence,
            "is not one of the SPDX licence identifiers that this program knows",
            likeliest(rig.licence, LICENCES, f"use one of {', '.join(LICENCES)}"),
        )


def _check_targets(rig: Rig, report: Report) -> None:
    if rig.targets.coverage.value > 1:
        report.error(
            "share-above-all",
            "targets.coverage",
            rig.targets.coverage,
            "is more than the whole surface",
            'use "100 %" or less',
        )
    elif rig.targets.coverage.value == 0:
        report.warning(
            "coverage-nothing",
            "targets.coverage",
            rig.targets.coverage,
            "asks for nothing, so that every rig meets it",
            'use "90 %" or so',
        )
    if "surface" in rig.kinds and rig.targets.pointing_speed.value == 0:
        report.warning(
            "speed-nothing",
            "targets.pointing_speed",
            rig.targets.pointing_speed,
            "is no motion, so that delay costs nothing",
            'use "0.5 m/s" or so',
        )


def _check_reference(rig: Rig, report: Report) -> None:
    if rig.weights is None:
        return
    if rig.reference is None:
        report.warning(
            "reference-missing",
            "weights",
            None,
            "weigh figures against a reference device that the rig does not name",
            "add [reference] with its figures, or remove weights",
        )
        return
    known = {figure.name for figure in rig.reference.figures}
    for weighed, weight in rig.weights.items():
        if weighed not in known:
            report.warning(
                "weight-without-figure",
                f"weights.{weighed}",
                weight,
                "weighs a figure that the reference device lacks",
                f'add the reference\'s "{weighed}" with its source, or remove the weight',
            )
    if not any(rig.weights.values()):
        report.warning(
            "weights-nothing",
            "weights",
            None,
            "are all 0, so that nothing counts",
            "give at least one figure a weight above 0",
        )


def _check_prices(rig: Rig, report: Report) -> None:
    used = [part_id for _, part_id in parts_used(rig)]
    for priced in rig.prices:
        likely = difflib.get_close_matches(priced, used, n=1, cutoff=0.85)
        if priced not in used and likely:
            report.warning(
                "price-without-part",
                f"prices.{priced}",
                None,
                "is not the id of a part of this rig, and counts as something else bought once",
                f'write "{likely[0]}" if that is meant',
            )
