"""What to buy and do to build a rig, with what is ticked off: ``rushlight parts RIG``."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import lru_cache
from pathlib import Path
from typing import Any, Generic, Literal, TypeVar

from rushlight.errors import Finding, RushlightError
from rushlight.jobs.kept import kept_plan
from rushlight.jobs.load import load_rig, rig_path
from rushlight.jobs.plan import planned_rig
from rushlight.jobs.plan_space import in_space, planned_space
from rushlight.jobs.progress import Progress, silent
from rushlight.publish.build import Build, space_build, surface_build
from rushlight.publish.buying import Purchase
from rushlight.records.building import Building, Tick
from rushlight.records.document import read_document, write_text
from rushlight.records.figure import Figure
from rushlight.records.kit import Step
from rushlight.records.plan import Plan
from rushlight.records.space_plan import SpacePlan
from rushlight.shelf.check import check_rig
from rushlight.shelf.cost import cost_figure

BUILDING_FILE = "building.json"
BUILT = ("wire", "mount")
"""The parts of the work that are building; registering and checking come after it."""

TickState = Literal["open", "done", "changed"]
"""Changed: ticked when the line said something else."""


What = TypeVar("What", Purchase, Step)


@dataclass(frozen=True)
class BuildLine(Generic[What]):
    """One line to tick off.

    Attributes
    ----------
    key, digest
        Its name, and SHA-256 of what it says.
    state
        Whether it is ticked off.
    what
        A thing to buy or a step to do.
    """

    key: str
    digest: str
    state: TickState
    what: What


@dataclass(frozen=True)
class BuildSheet:
    """All that is needed to build a rig.

    Attributes
    ----------
    name, title, basis
        Of the rig.
    build
        Parts, circuits, drawings, cautions.
    buy, steps
        Lines to tick off.
    cost
        Of all parts whose price is known; its method says what is not counted.
    findings
        What speaks against building it as it stands.
    """

    name: str
    title: str
    basis: str
    build: Build
    buy: Sequence[BuildLine[Purchase]]
    steps: Sequence[BuildLine[Step]]
    cost: Figure
    findings: Sequence[Finding]

    @property
    def lines(self) -> list[BuildLine[Purchase] | BuildLine[Step]]:
        """Everything that can be ticked off."""
        return [*self.buy, *self.steps]

    def line(self, key: str) -> BuildLine[Purchase] | BuildLine[Step]:
        """A line by its key.

        Raises
        ------
        RushlightError
            When there is none.
        """
        for each in self.lines:
            if each.key == key:
                return each
        raise RushlightError.of(
            "parts", f'"{key}"', "is no line of this rig's build", "see the keys with --json",
            "build-line",
        )  # fmt: skip

    def as_dict(self) -> dict[str, Any]:
        """The sheet as plain values, for JSON; drawings by name."""
        return {
            "rig": self.name,
            "title": self.title,
            "basis": self.basis,
            "cautions": self.build.cautions,
            "findings": [each.as_dict() for each in self.findings],
            "buy": [_bought(each) for each in self.buy],
            "cost": self.cost.model_dump(mode="json"),
            "wiring": [_drawn(each) for each in self.build.wiring],
            "mounting": [_drawn(each) for each in self.build.mounting],
            "lookups": [each._asdict() for each in self.build.lookups],
            "steps": [_step(each) for each in self.steps],
            "done": sum(each.state == "done" for each in self.lines),
            "of": len(self.lines),
        }


def building(
    rig: Path,
    done: Sequence[str] = (),
    undone: Sequence[str] = (),
    out: Path | None = None,
    progress: Progress = silent,
) -> BuildSheet:
    """What to buy and do to build a rig, and what is done of it.

    Parameters
    ----------
    rig
        The rig's file, or its folder.
    done, undone
        Keys of lines to be ticked off, and to be opened again; kept in ``building.json`` beside
        the rig.
    out
        Folder for the drawings; none are written without it.
    progress
        Told what is being done.

    Returns
    -------
    BuildSheet
        By the plan that is kept beside the rig; where none is of the rig as it stands it is
        planned now, and nothing of that is kept.

    Raises
    ------
    RushlightError
        When the rig is wrong, a key is unknown, or a place cannot be written.
    """
    document, shelf = load_rig(rig)
    errors = [e for e in check_rig(document, shelf, rig_path(rig).name) if e.severity == "error"]
    if errors:
        raise RushlightError(errors)
    plan = kept_plan(rig)
    if plan is None:
        plan = _planned(rig, document.content_hash(), progress)
    progress("drawing", 0.0)
    build: Build = (
        space_build(document, shelf, plan)
        if isinstance(plan, SpacePlan)
        else surface_build(document, shelf, plan)
    )
    progress("drawing", 1.0)
    ticks = {tick.key: tick for tick in kept_building(rig).ticks}
    sheet = BuildSheet(
        name=document.name,
        title=document.title or document.name,
        basis=document.basis,
        build=build,
        buy=_lines(build.bought, ticks),
        steps=_lines([each for each in build.steps if each.part in BUILT], ticks),
        cost=cost_figure(document, shelf),
        findings=[each.finding() for each in plan.findings if each.code == "eye-limit-passed"],
    )
    if done or undone:
        wanted = dict.fromkeys(done, True) | dict.fromkeys(undone, False)
        lines = [sheet.line(key) for key in wanted]
        for line in lines:
            tick(rig, line.key, line.digest, wanted[line.key])
        return building(rig, out=out)
    if out is not None:
        for name, drawing in build.drawings.items():
            write_text(out / name, drawing.svg)
    return sheet


def tick(rig: Path, key: str, digest: str, done: bool) -> Building:
    """Tick a line off, or open it again; kept in ``building.json`` beside the rig.

    Parameters
    ----------
    rig
        The rig's file, or its folder.
    key, digest
        Of the line, as `building` tells them.
    done
        Whether it is done.

    Raises
    ------
    RushlightError
        When the rig or the file cannot be read, or the place cannot be written.
    """
    document = load_rig(rig)[0]
    kept = [each for each in kept_building(rig).ticks if each.key != key]
    if done:
        now = datetime.now(UTC).isoformat(timespec="seconds")
        kept.append(Tick(key=key, of=digest, ticked_at=now))
    made = Building(rig_name=document.name, ticks=kept).stamped(document.basis)
    made.write(rig_path(rig).parent / BUILDING_FILE)
    return made


def kept_building(rig: Path) -> Building:
    """What is ticked off beside a rig; nothing where no file is."""
    file = rig_path(rig).parent / BUILDING_FILE
    if not file.exists():
        return Building(rig_name=load_rig(rig)[0].name)
    return read_document(Building, file)


@lru_cache(maxsize=8)
def _planned(rig: Path, _: str, progress: Progress) -> Plan | SpacePlan:
    """A plan of a rig by its content hash, not planned twice in one process."""
    document = load_rig(rig)[0]
    return (planned_space if in_space(document) else planned_rig)(rig, progress=progress).plan


def _lines(whats: Sequence[What], ticks: dict[str, Tick]) -> list[BuildLine[What]]:
    lines: list[BuildLine[What]] = []
    taken: set[str] = set()
    for what in whats:
        key, says = _named(what)
        key = key if key not in taken else f"{key}-{len(lines) + 1}"
        taken.add(key)
        digest = hashlib.sha256("\n".join(says).encode()).hexdigest()
        lines.append(BuildLine(key, digest, _state(ticks.get(key), digest), what))
    return lines


def _named(what: Purchase | Step) -> tuple[str, list[str]]:
    """The key of a line, and what it says."""
    if isinstance(what, Step):
        return f"{what.part}-{_slug(what.title)}", [what.title, what.text, *what.commands]
    return f"buy-{_slug(what.part or what.name)}", [what.name, str(what.count), *what.matters]


def _state(ticked: Tick | None, digest: str) -> TickState:
    if ticked is None:
        return "open"
    return "done" if ticked.of == digest else "changed"


def _slug(words: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", words.lower()).strip("-")[:50].strip("-")


def _bought(line: BuildLine[Purchase]) -> dict[str, Any]:
    what = line.what
    price = what.price
    return {
        "key": line.key,
        "state": line.state,
        "name": what.name,
        "part": what.part,
        "count": what.count,
        "matters": list(what.matters),
        "sources": list(what.sources),
        "price": None if price is None else price.model_dump(mode="json"),
        "each": what.each,
        "together": what.together,
    }


def _step(line: BuildLine[Step]) -> dict[str, Any]:
    return {"key": line.key, "state": line.state, **line.what.model_dump(mode="json")}


def _drawn(drawing: Any) -> dict[str, str]:
    return {
        "file": f"{drawing.name}.svg",
        "title": drawing.title,
        "description": drawing.description,
    }
