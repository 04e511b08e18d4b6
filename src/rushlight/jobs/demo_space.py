"""A whole invented rig of space through every stage, from idea to kit."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Future, ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from typing import Any

from rushlight.jobs.assess import assess
from rushlight.jobs.demo_words import amount, measured, plain
from rushlight.jobs.kit import KitResult, kit
from rushlight.jobs.load import load_rig
from rushlight.jobs.plan import plan
from rushlight.jobs.progress import Progress
from rushlight.jobs.register import register
from rushlight.jobs.run import run
from rushlight.jobs.scene import scene_film
from rushlight.jobs.simulate import simulate
from rushlight.records.assessment import Assessment
from rushlight.records.document import read_document
from rushlight.records.scene import SCENE_FILE
from rushlight.records.space_plan import SpacePlan
from rushlight.records.space_registration import SpaceRegistration

SPACE_SCENARIOS = ("paper-theatre", "ferry-model", "choir-baton")
HELD_S, PLACES, SWING, MOTION, STILL, CHECKED = 0.22, 6, "3 s", "1.5 s", "3.1 s", "2 s"
"""How long, and how often, so that a demo stays short."""
LEAST_PLACES = 4
"""One of so many is held once more, by which repeatability is seen."""
WORKERS = 2
FILM_FRAMES = 24


def demo_in_space(
    folder: Path,
    rig: Path,
    seed: int,
    told: Callable[[str], Progress],
) -> tuple[KitResult, Assessment, list[tuple[str, str]]]:
    """Take a rig of space through all stages, exactly as the verbs would one by one.

    Parameters
    ----------
    folder
        To work in.
    rig
        Its file there, which has passed the check.
    seed
        Of the simulated room, people and noise.
    told
        Gives the progress of a stage by its name.

    Returns
    -------
    kit, assessment, summary
        The kit, the assessment, and lines of what and how much.
    """
    plan_file = folder / "plan" / "plan.json"
    registration = folder / "registration.json"
    plan(rig, plan_file.parent, progress=told("1 plan"))
    planned = read_document(SpacePlan, plan_file)
    scripts = _filmed_and_followed(folder, rig, seed, planned, told)
    sessions = [folder / f"{script}.sqlite" for script in scripts]
    truths = [folder / "footage" / script / "truth.sqlite" for script in scripts]
    film = folder / "film"
    if (folder / SCENE_FILE).is_file():
        scene_film(
            folder / "motion.sqlite", rig, film, FILM_FRAMES, told("4 draw what the eye would see")
        )
    assessed = assess(
        sessions,
        plan_file,
        rig,
        truths,
        out=folder / "assessment",
        progress=told("5 assess"),
        registration=registration,
    )
    published = kit(
        rig,
        plan=plan_file,
        assessment=folder / "assessment" / "assessment.json",
        registration=registration,
        out=folder / "kit",
        progress=told("6 kit"),
    )
    registered = read_document(SpaceRegistration, registration)
    return published, assessed, space_summary(planned, registered, assessed, film)


def _filmed_and_followed(
    folder: Path, rig: Path, seed: int, planned: SpacePlan, told: Callable[[str], Progress]
) -> list[str]:
    """Film all scripts, register by the first and follow the others, which are told."""
    lengths = _lengths(rig, planned)
    footage, registration = folder / "footage", folder / "registration.json"
    first, longest, *others = lengths
    with ProcessPoolExecutor(WORKERS, get_context("spawn")) as pool:
        both = _Both(pool, told)

        def film(script: str) -> None:
            given = (rig, script, footage / script, seed, folder / "plan" / "plan.json")
            both.begin(f"simulate {script}", _film, *given, lengths[script])

        film(first)
        film(longest)
        both.wait(f"simulate {first}")
        both.begin("2 register", register, footage / first, rig, registration)
        for script in others:
            film(script)
        both.wait()
        for script in (longest, *others):
            given = (footage / script, folder / f"{script}.sqlite", rig, registration)
            both.begin(f"3 run {script}", run, *given)
        both.wait()
    return [longest, *others]


def _film(rig: Path, script: str, out: Path, seed: int, plan: Path, more: dict[str, Any]) -> None:
    """Simulate one script, in whatever process."""
    simulate(rig, script, out, seed, plan=plan, **more)


class _Both:
    """Work that two processes share, begun in this order; each piece is told of by its stage."""

    def __init__(self, pool: ProcessPoolExecutor, told: Callable[[str], Progress]) -> None:
        self._pool, self._told = pool, told
        self._begun: dict[str, Future[Any]] = {}

    def begin(self, stage: str, what: Callable[..., Any], *given: Any) -> None:
        """Let whichever process is free do it."""
        self._begun[stage] = self._pool.submit(what, *given)

    def wait(self, stage: str | None = None) -> None:
        """Until one piece is done, or everything that was begun."""
        for each in list(self._begun) if stage is None else [stage]:
            self._told(each)("on two processes", 0.0)
            self._begun.pop(each).result()
            self._told(each)("on two processes", 1.0)


def _lengths(rig: Path, planned: SpacePlan) -> dict[str, dict[str, Any]]:
    """How long each script is; the registration first."""
    cameras = load_rig(rig)[0].cameras
    frames = round(HELD_S * cameras[0].frame_rate.value)
    swung = planned.registration.method == "swing"
    return {
        "registration": {"length": SWING} if swung else {"frames_per_place": frames},
        "places": {
            "places": max(PLACES // len(cameras), LEAST_PLACES),
            "frames_per_place": frames,
        },
        "motion": {"length": MOTION},
        "still": {"length": STILL},
        # Swung once more: how far its length is told off needs no truth.
        **({"swing": {"length": CHECKED}} if swung else {}),
    }


def space_summary(
    planned: SpacePlan,
    registered: SpaceRegistration,
    assessed: Assessment,
    film: Path,
) -> list[tuple[str, str]]:
    """The lines that a demo of a rig of space ends with, but for what all demos tell."""
    rows = [
        ("registration", _registered(registered)),
        *_error_rows(planned, assessed),
    ]
    off = plain(assessed.figures, "view-angle", "rms")
    if off is not None:
        rows.append(("picture at the eye", f"off by {amount(off)} at rest ({off.basis})"))
        rows.append(("film", f"what the screen showed, frame by frame: {film}"))
    return rows


def _registered(registered: SpaceRegistration) -> str:
    verdict = "vouched for" if registered.verdict.vouched else "NOT vouched for"
    left = f", {registered.rms_px:.2f} px left" if (registered.rms_px or 0.0) >= 0.005 else ""
    basis = registered.header.basis if registered.header else "typical"
    used = sum(row.used for row in registered.rows)
    return f"by {registered.method}, {used} steps{left}: {verdict} ({basis})"


def _error_rows(planned: SpacePlan, assessed: Assessment) -> list[tuple[str, str]]:
    rows = []
    for name, words in (("error", "error"), ("turn-error", "error of the angle")):
        wanted = plain(planned.figures, name, "rms")
        seen = plain(assessed.figures, name, "rms")
        if wanted is not None:
            rows.append((f"predicted {words}", f"{amount(wanted)} over the zone (predicted)"))
        if seen is not None:
            rows.append((f"measured {words}", measured(assessed, seen)))
    return rows
