"""A whole invented rig through every stage, from idea to kit."""

from __future__ import annotations

import importlib.resources
import shutil
from dataclasses import dataclass
from pathlib import Path

from rushlight.errors import RushlightError
from rushlight.jobs.assess import assess
from rushlight.jobs.check import check
from rushlight.jobs.demo_space import SPACE_SCENARIOS, demo_in_space
from rushlight.jobs.demo_words import amount, measured
from rushlight.jobs.kit import kit
from rushlight.jobs.load import RIG_FILE
from rushlight.jobs.plan import plan
from rushlight.jobs.progress import Progress, silent
from rushlight.jobs.register import register
from rushlight.jobs.run import run
from rushlight.jobs.search import search
from rushlight.jobs.simulate import simulate
from rushlight.records.assessment import Assessment
from rushlight.records.document import write_text
from rushlight.records.figure import find_figure
from rushlight.records.plan import Plan
from rushlight.records.search import SearchResult

SCENARIOS = ("barn-wall", *SPACE_SCENARIOS)
MARK = ".rushlight-demo"
SEED = 7
COLUMNS, ROWS, FRAMES_A_PLACE = 6, 4, 14


@dataclass(frozen=True)
class DemoResult:
    """What the demo made.

    Attributes
    ----------
    folder
        Holds everything, stage by stage.
    kit, archive
        The kit's folder, and the same as one file.
    place
        Where a search would hang the camera, why not elsewhere, and what the rig's own place is
        worth beside it; predicted. Empty where no place was searched for.
    summary
        A few lines: what, and how much.
    """

    folder: Path
    kit: Path
    archive: Path
    place: list[str]
    summary: list[tuple[str, str]]


def demo(
    scenario: str = "barn-wall",
    out: Path = Path("demo-out"),
    seed: int = SEED,
    progress: Progress = silent,
) -> DemoResult:
    """Take an invented rig through all stages, exactly as the verbs would one by one.

    Parameters
    ----------
    scenario
        One of `SCENARIOS`.
    out
        Folder to work in; an earlier demo there is replaced.
    seed
        Of the simulated room, hands and noise.
    progress
        Told what is being done.

    Returns
    -------
    DemoResult

    Raises
    ------
    RushlightError
        When the scenario is unknown, or the folder holds something else than a demo.
    """
    folder = _prepared(scenario, out)
    rig = folder / RIG_FILE
    result = check(rig)
    if not result.passed:
        raise RushlightError([each for each in result.findings if each.severity == "error"])
    if scenario in SPACE_SCENARIOS:
        published, assessed, lines = demo_in_space(
            folder, rig, seed, lambda stage: _told(progress, stage)
        )
        return DemoResult(
            folder, published.folder, published.zip, [], [*lines, *common_summary(assessed)]
        )
    planned = plan(rig, folder / "plan", progress=_told(progress, "1 plan"))
    plan_file = folder / "plan" / "plan.json"
    # The rig stays as it is: whoever builds may take what is found, or not.
    searched = search(
        rig, folder / "search", progress=_told(progress, "1 search for the camera's place")
    )
    footage = folder / "footage"

    def film(script: str, **more: int) -> Path:
        _, made = simulate(
            rig,
            script,
            footage / script,
            seed,
            plan=plan_file,
            progress=_told(progress, f"simulate {script}"),
            **more,
        )
        return made

    registration = folder / "registration.json"
    register(
        film("registration"),
        rig,
        registration,
        plan_file,
        progress=_told(progress, "2 register"),
    )
    sessions, truths = [], []
    for script, more in (
        ("grid", {"columns": COLUMNS, "rows": ROWS, "frames_per_place": FRAMES_A_PLACE}),
        ("tapping", {}),
    ):
        made = film(script, **more)
        session = folder / f"{script}.sqlite"
        run(made, session, rig, registration, progress=_told(progress, f"3 run {script}"))
        sessions.append(session)
        truths.append(made / "truth.sqlite")
    assessed = assess(
        sessions,
        plan_file,
        rig,
        truths,
        out=folder / "assessment",
        progress=_told(progress, "4 assess"),
    )
    published = kit(
        rig,
        plan=plan_file,
        assessment=folder / "assessment" / "assessment.json",
        registration=registration,
        out=folder / "kit",
        progress=_told(progress, "5 kit"),
    )
    return DemoResult(
        folder,
        published.folder,
        published.zip,
        place_of(searched),
        summary_of(planned, assessed),
    )


def _prepared(scenario: str, out: Path) -> Path:
    """An empty folder holding the scenario's rig."""
    if scenario not in SCENARIOS:
        raise RushlightError.of(
            "--scenario",
            f'"{scenario}"',
            "is not there yet",
            f"use {', '.join(SCENARIOS)}",
            "scenario",
        )
    folder = out / scenario
    if folder.exists() and any(folder.iterdir()) and not (folder / MARK).exists():
        raise RushlightError.of(
            str(folder), "", "holds something else than a demo", "give another --out", "not-a-demo"
        )
    if folder.exists():
        shutil.rmtree(folder)
    write_text(folder / MARK, "Made by rushlight demo; replaced by the next one.\n")
    source = importlib.resources.files("rushlight.jobs") / "scenarios" / scenario
    for each in source.iterdir():
        if each.name.endswith(".toml"):
            write_text(folder / each.name, each.read_text(encoding="utf-8"))
    return folder


def _told(progress: Progress, stage: str) -> Progress:
    """The same progress, with the stage before what is done."""
    return lambda what, share: progress(f"{stage}: {what}", share)


def place_of(searched: SearchResult) -> list[str]:
    """The place that a search chose, what speaks against the others, and the rig's own beside it.

    Its first reason, which tells how the choice is made among the winners, is left out.
    """
    chosen, *others = searched.why[1:]
    own = [others.pop()] if searched.own is not None else []
    return [chosen, *([" ".join(others)] if others else []), *own]


def summary_of(planned: Plan, assessed: Assessment) -> list[tuple[str, str]]:
    """The five lines that the demo of a surface rig ends with."""
    error = find_figure(planned.figures, "error", "all", "rms")
    seen = find_figure(assessed.figures, "error", "all", "rms")
    rows = [
        ("predicted error", amount(error) + " over the surface (predicted)"),
        ("measured error", measured(assessed, seen)),
    ]
    return [*rows, *common_summary(assessed)]


def common_summary(assessed: Assessment) -> list[tuple[str, str]]:
    """What every demo ends with: beside the reference, and cautions."""
    rows = []
    parts = [
        f"{row.name} {_percent(row.ratio, row.low, row.high)} ({row.rig_basis} against "
        f"{row.reference_basis})"
        for row in assessed.relative
    ]
    overall = assessed.overall
    if overall:
        share = _percent(overall.value, overall.low, overall.high)
        parts.append(f"overall {share} by the weights in rig.toml")
    rows.append(
        (
            "relative performance",
            f"{', '.join(parts) or 'not known'}; 100 % is {assessed.reference or 'no reference'}",
        )
    )
    cost = assessed.cost
    rows.append(
        (
            "relative cost",
            "not known"
            if cost is None
            else f"{cost.ratio * 100:.1f} % ({cost.rig_cost:.0f} of {cost.reference_cost:.0f} "
            f"{cost.currency}; {cost.basis} prices)",
        )
    )
    rows.append(
        (
            "cautions",
            "infrared and eyes, cells, mains, ladders, heat: read them in the kit before building; "
            "limits are estimates, local codes and licensed practice decide",
        )
    )
    return rows


def _percent(value: float, low: float | None, high: float | None) -> str:
    if low is None or high is None:
        return f"{value * 100:.0f} % [interval not known]"
    return f"{value * 100:.0f} % [{low * 100:.0f} to {high * 100:.0f}]"
