"""Follow things in space through the recorded footage of all cameras, and keep a session."""

from __future__ import annotations

import heapq
import time
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from rushlight.capture.footage import Footage
from rushlight.capture.open import open_footage
from rushlight.capture.space import film_path
from rushlight.errors import Finding, RushlightError
from rushlight.jobs.belonging import Source
from rushlight.jobs.inspect_files import hot_pixels
from rushlight.jobs.load import bits_of, load_rig, rig_path
from rushlight.jobs.progress import Progress
from rushlight.jobs.run_summary import export
from rushlight.jobs.told import keep_told
from rushlight.keep.writer import SessionWriter
from rushlight.records.arrays import Array
from rushlight.records.document import Basis, read_document
from rushlight.records.dots import REASONS, Dots, Frame
from rushlight.records.rig import Rig
from rushlight.records.session import Clock, SessionHeader
from rushlight.records.space import ResolvedSpace, Thing
from rushlight.records.space_footage import SPACE_FOOTAGE, SpaceFootage
from rushlight.records.space_registration import SpaceRegistration
from rushlight.see.learning import LearningDetector
from rushlight.shelf.catalogue import Shelf
from rushlight.shelf.resolve_space import resolve_space, space_kinds
from rushlight.track.mapping import doubts_of
from rushlight.track.rig import noise_of
from rushlight.track.space_cameras import SpaceCameras
from rushlight.track.space_follow import SpaceFollowed, SpaceFollower, follow_space
from rushlight.track.stages import StageDelay
from rushlight.track.tally import median_ms

_TELL_EVERY = 20


@dataclass
class SpaceRunSummary:
    """What a run through space found, counted.

    Attributes
    ----------
    session, basis
        The file; measured, or simulated where the footage says so.
    cameras, carried
        Ids of those that saw, and of what was looked for.
    frames, moments
        Of all cameras together; of the first one, each a moment for which fixes are sought.
    dots, doubtful_dots, doubts
        Good ones; those with a reason against them, and how many by reason.
    fixes, coasted
        By thing, fixes that were seen; and those kept up on too few dots or none.
    doubted, second
        By thing, fixes with more than one pose or name that the dots allow; and the largest
        weight [1] that one had beside what was taken.
    lost
        How often a thing was lost from sight.
    live
        Whether live sources were followed, and not a film; what follows down to `delays` is of
        these.
    dropped, late, reconnects
        Frames that were not followed; that came after the moments of their time had gone; how
        often a source was opened again.
    rates_hz
        Frames that came a second, by camera [Hz]; None before there were two.
    outputs, delays
        Name of each output, messages that left, and what newer ones overtook; how late each stage
        was.
    footage_s, frames_per_s
        Length of the footage [s]; frames of all cameras followed and stored a second of work.
    detect_ms, map_ms
        Medians of the time from having a frame to its dots, and of finding poses [ms].
    exports, findings
        Folders written; what the user should know.
    """

    session: str
    basis: Basis
    cameras: list[str]
    carried: list[str]
    frames: int = 0
    moments: int = 0
    dots: int = 0
    doubtful_dots: int = 0
    doubts: dict[str, int] = field(default_factory=dict)
    fixes: Counter[str] = field(default_factory=Counter)
    coasted: Counter[str] = field(default_factory=Counter)
    doubted: Counter[str] = field(default_factory=Counter)
    second: dict[str, float] = field(default_factory=dict)
    lost: int = 0
    footage_s: float | None = None
    frames_per_s: float | None = None
    detect_ms: float | None = None
    map_ms: float | None = None
    exports: list[str] = field(default_factory=list)
    findings: tuple[Finding, ...] = ()
    live: bool = False
    dropped: int = 0
    late: int = 0
    reconnects: int = 0
    rates_hz: dict[str, float | None] = field(default_factory=dict)
    outputs: tuple[tuple[str, int, int], ...] = ()
    delays: tuple[StageDelay, ...] = ()

    def add(self, done: SpaceFollowed) -> None:
        """Count one moment."""
        self.moments += 1
        for fix in done.fixes:
            (self.coasted if fix.predicted else self.fixes)[fix.carried] += 1
            if len(fix.hypotheses) > 1:
                self.doubted[fix.carried] += 1
                most = max(self.second.get(fix.carried, 0.0), *fix.hypotheses[1:])
                self.second[fix.carried] = most
        self.lost += sum(event.kind == "lost" for event in done.events)

    def as_dict(self) -> dict[str, Any]:
        """The summary as plain values, for JSON."""
        # Counters do not survive `asdict` before Python 3.12: their entries become keys.
        counted = {name: dict(getattr(self, name)) for name in ("fixes", "coasted", "doubted")}
        plain = replace(self, fixes=Counter(), coasted=Counter(), doubted=Counter())
        return {
            **asdict(plain),
            **counted,
            "findings": [each.as_dict() for each in self.findings],
        }


def is_space_footage(path: Path) -> bool:
    """Whether a path is the footage of several cameras of one space."""
    return (path / SPACE_FOOTAGE).is_file() or path.name == SPACE_FOOTAGE


def run_space(
    footage_path: Path,
    out: Path,
    rig_file: Path | None,
    registration_path: Path | None,
    filter_name: str | None,
    csv_folder: Path | None,
    parquet_folder: Path | None,
    progress: Progress,
) -> SpaceRunSummary:
    """Follow what moves in space through the frames of all cameras.

    Parameters are those of `rushlight.jobs.run.run`; rig and registration must be given.

    Raises
    ------
    RushlightError
        When an input cannot be used, or they do not belong together.
    """
    folder = footage_path.parent if footage_path.name == SPACE_FOOTAGE else footage_path
    header = read_document(SpaceFootage, folder / SPACE_FOOTAGE)
    rig_file, registration_path = inputs_of(rig_file, registration_path)
    check_filter(filter_name)
    rig, shelf = load_rig(rig_file)
    name = rig_path(rig_file).name
    _check_kind(rig, name)
    space = resolve_space(rig, shelf, name)
    registration = read_document(SpaceRegistration, registration_path)
    _check_filmed(space, header, folder)
    check_registered(space, registration, registration_path.name)
    films = [
        open_footage(film_path(folder, camera), None, camera, bits=bits_of(rig, shelf, index))
        for index, camera in enumerate(space.camera_ids)
    ]
    check_sizes(space, films)
    basis: Basis = "simulated" if header.simulated else "measured"
    things = followed_things(space, header, folder.name)
    summary = SpaceRunSummary(
        session=str(out),
        basis=basis,
        cameras=list(space.camera_ids),
        carried=[thing.id for thing in things],
    )
    names = (name, registration_path.name)
    findings = findings_of(rig, registration, names, header.simulated, header.rig)
    cameras = SpaceCameras.registered(space, registration)
    detectors = detectors_of(rig, shelf, rig_path(rig_file).parent, space, films)
    session_header = _header(rig, header, registration, summary)
    with SessionWriter(out, session_header, basis) as session:
        _follow(films, cameras, detectors, things, session, summary, progress)
    progress("following the lights", 1.0)
    summary.exports = export(out, csv_folder, parquet_folder)
    seen = (finding for film in films for finding in film.findings)
    summary.findings = (*findings, *seen)
    keep_told("run", out, summary)
    return summary


def inputs_of(rig_file: Path | None, registration_path: Path | None) -> tuple[Path, Path]:
    """Rig and registration, both of which are needed.

    Raises
    ------
    RushlightError
        When one is missing.
    """
    if rig_file is not None and registration_path is not None:
        return rig_file, registration_path
    raise RushlightError.of(
        "run",
        "",
        "needs the rig and its registration to tell dots in space apart",
        "give --rig and --registration",
        "space-run-inputs",
    )


def check_filter(filter_name: str | None) -> None:
    """Refuse smoothing, which is not applied in space."""
    if filter_name not in (None, "none"):
        raise RushlightError.of(
            "filter",
            filter_name or "",
            "is not applied to what is followed in space",
            "leave --filter out",
            "filter-in-space",
        )


def _check_kind(rig: Rig, name: str) -> None:
    if not space_kinds(rig):
        raise RushlightError.of(
            f"{name}: kinds",
            ", ".join(rig.kinds),
            "hold no kind that moves in space, but the footage is of one",
            "give the rig that the footage was made with",
            "rig-of-other-kind",
        )


def followed_things(space: ResolvedSpace, header: SpaceFootage, name: str) -> tuple[Thing, ...]:
    """What is looked for in footage: everything that moves, or in a swing the scale bar alone.

    Raises
    ------
    RushlightError
        When a bar was swung that the rig has not.
    """
    if header.script != "swing":
        return space.things
    if space.scale_bar is None:
        raise RushlightError.of(
            f"{name}/{SPACE_FOOTAGE}: script",
            "swing",
            "shows a scale bar, and the rig has none",
            'add the carried thing of kind "scale-bar" to the rig, or give other footage',
            "no-scale-bar",
        )
    return (space.scale_bar,)


def _check_filmed(space: ResolvedSpace, header: SpaceFootage, folder: Path) -> None:
    _check_cameras(space, set(header.cameras), f"{folder.name}/{SPACE_FOOTAGE}")


def check_registered(space: ResolvedSpace, registration: SpaceRegistration, name: str) -> None:
    """Refuse a registration that has not all of the rig's cameras.

    Parameters
    ----------
    name
        Of the registration's file, for messages.
    """
    _check_cameras(space, {each.camera for each in registration.cameras}, name)


def _check_cameras(space: ResolvedSpace, have: set[str], where: str) -> None:
    for camera in space.camera_ids:
        if camera not in have:
            raise RushlightError.of(
                f"{where}: cameras",
                ", ".join(sorted(have)),
                f'do not hold the rig\'s camera "{camera}"',
                "give footage and registration of this rig",
                "camera-missing",
            )


def check_sizes(space: ResolvedSpace, films: Sequence[Source]) -> None:
    """Refuse pictures of another size than the rig's cameras have, in the rig's order."""
    for camera, film in enumerate(films):
        wanted = tuple(int(side) for side in space.cameras.size_px[0, camera])
        if film.size_px != wanted:
            raise RushlightError.of(
                film.name,
                f"{film.size_px[0]}×{film.size_px[1]} px",
                f"is not the {wanted[0]}×{wanted[1]} px of the rig's camera "
                f'"{space.camera_ids[camera]}"',
                "give footage of this rig",
                "size-differs",
            )


def findings_of(
    rig: Rig,
    registration: SpaceRegistration,
    names: tuple[str, str],
    simulated: bool,
    filmed_by: str | None = None,
) -> list[Finding]:
    """What the user should know of the inputs.

    Parameters
    ----------
    rig, registration, names
        And the names of their files.
    simulated
        Whether the frames are.
    filmed_by
        Content hash of the rig that footage was made from, or None.
    """
    found = doubts_of(registration, names[1], simulated)
    for made_from, what in ((filmed_by, "footage"), (registration.rig, "registration")):
        if made_from not in (None, rig.content_hash()):
            found.append(
                Finding(
                    "warning",
                    "rig-changed",
                    names[0],
                    "",
                    f"has changed since the {what} was made from it",
                    "make it anew, or take the rig as it was",
                )
            )
    return found


def detectors_of(
    rig: Rig, shelf: Shelf, folder: Path, space: ResolvedSpace, films: Sequence[Source]
) -> list[Callable[[Array], Dots]]:
    """What finds the dots in each camera's pictures.

    Parameters
    ----------
    rig, shelf, space
        The rig, and the same as numbers.
    folder
        Where it lies, with what was found of its sensors.
    films
        The cameras' pictures, in the rig's order.
    """
    return [
        LearningDetector(
            *film.size_px,
            noise_of(space, camera, film.full_scale_dn),
            hot_pixels(folder, rig.cameras[camera].part, film.size_px),
        )
        for camera, film in enumerate(films)
    ]


def _header(
    rig: Rig,
    header: SpaceFootage,
    registration: SpaceRegistration,
    summary: SpaceRunSummary,
) -> SessionHeader:
    return SessionHeader(
        rig=rig.content_hash(),
        rig_name=rig.name,
        footage=header.content_hash(),
        registration=registration.content_hash(),
        cameras=summary.cameras,
        carried=summary.carried,
        clocks=[
            Clock(
                id=each.camera,
                kind="simulated" if summary.basis == "simulated" else "file",
                offset_ns=each.clock_offset_ns,
                std_ns=each.clock_std_ns,
            )
            for each in registration.cameras
        ],
        causes=header.causes,
        script=header.script,
    )


def _in_order(films: list[Footage], offsets_ns: Array) -> Iterator[tuple[int, Frame]]:
    """The frames of all films by the first camera's clock."""

    def told(camera: int, film: Footage) -> Iterator[tuple[int, int, Frame]]:
        for frame in film:
            yield frame.capture_ns - int(offsets_ns[camera]), camera, frame

    each = [told(camera, film) for camera, film in enumerate(films)]
    for _, camera, frame in heapq.merge(*each, key=lambda one: one[:2]):
        yield camera, frame


def _follow(
    films: list[Footage],
    cameras: SpaceCameras,
    detectors: list[Callable[[Array], Dots]],
    things: Sequence[Thing],
    session: SessionWriter,
    summary: SpaceRunSummary,
    progress: Progress,
) -> None:
    spent: list[float] = []
    mapped: list[float] = []

    def timed(detector: Callable[[Array], Dots]) -> Callable[[Array], Dots]:
        def detect(image: Array) -> Dots:
            began = time.perf_counter()
            dots = detector(image)
            spent.append(time.perf_counter() - began)
            return dots

        return detect

    exposures_s = [0.0 if each.header is None else each.header.exposure_ns * 1e-9 for each in films]
    follower = SpaceFollower(cameras, things, exposures_s)
    whole = sum(film.frames or 0 for film in films)
    doubts = np.zeros(len(REASONS), np.int64)
    first_ns = last_ns = None
    began = time.perf_counter()
    frames = _in_order(films, cameras.clock_offset_ns)
    for one, done in follow_space(frames, [timed(each) for each in detectors], follower):
        session.put_frame(one.frame)
        session.put_dots(one.frame.camera, one.frame.index, one.dots)
        doubts += np.bincount(one.dots.reason, minlength=len(REASONS))
        summary.frames += 1
        if summary.frames == 1:
            began = time.perf_counter()  # the first frame may have to compile the kernels
        for moment in done:
            _store(session, moment, spent[-1], summary)
            mapped.append(moment.seconds)
            first_ns = moment.moment.time_ns if first_ns is None else first_ns
            last_ns = moment.moment.time_ns
        if whole and summary.frames % _TELL_EVERY == 0:
            progress("following the lights", summary.frames / whole)
    spent_s = time.perf_counter() - began
    summary.dots = int(doubts[0])
    summary.doubtful_dots = int(doubts[1:].sum())
    summary.doubts = {
        REASONS[reason]: int(count) for reason, count in enumerate(doubts) if reason and count
    }
    summary.detect_ms, summary.map_ms = median_ms(spent), median_ms(mapped)
    if first_ns is not None and last_ns is not None:
        summary.footage_s = (last_ns - first_ns) * 1e-9
    if summary.frames > 1 and spent_s > 0.0:
        summary.frames_per_s = (summary.frames - 1) / spent_s


def _store(
    session: SessionWriter, done: SpaceFollowed, detect_s: float, summary: SpaceRunSummary
) -> None:
    summary.add(done)
    session.put_links(done.links)
    for fix in done.fixes:
        known_ns = fix.capture_ns + round(detect_s * 1e9)
        session.put_fix(
            replace(fix, detect_ns=known_ns, map_ns=known_ns + round(done.seconds * 1e9))
        )
    for event in done.events:
        session.put_event(event.known(done.moment.time_ns, detect_s, detect_s + done.seconds))
