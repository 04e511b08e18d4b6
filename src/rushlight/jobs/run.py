"""Follow the lights in recorded footage, and keep what was found as a session."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from rushlight.capture.footage import Footage
from rushlight.capture.open import open_footage
from rushlight.errors import Finding, RushlightError
from rushlight.jobs.belonging import camera_of
from rushlight.jobs.load import load_rig, rig_path, typed_rate_hz
from rushlight.jobs.progress import Progress, silent
from rushlight.keep.export import export_csv, export_parquet
from rushlight.keep.session import SessionReader
from rushlight.keep.writer import SessionWriter
from rushlight.records.document import read_document
from rushlight.records.registration import Registration
from rushlight.records.rig import Rig
from rushlight.records.session import Clock, Event, SessionHeader
from rushlight.see.detect import Detector
from rushlight.see.link import Linker
from rushlight.see.sensor import SensorNoise
from rushlight.shelf.resolve import resolve
from rushlight.track.filter import filter_maker
from rushlight.track.following import Followed, Follower, follow
from rushlight.track.identity import Identity, Marks, marks_of, no_marks
from rushlight.track.mapping import SurfaceMap, doubts_of
from rushlight.track.rig import followed_things, homes_of, noise_of
from rushlight.track.switch import RELEASE_S
from rushlight.track.tally import Tally, median_ms

UNNAMED = tuple(f"light-{number}" for number in range(1, 9))
"""Names for what is seen where no rig says who carries what."""

TOUCHING_SCRIPTS = frozenset({"registration", "grid", "tapping"})
"""Scripts whose goals are touched where they stand; those of strokes are only arrived at."""

_TELL_EVERY = 20
_REACH = 0.5  # of the larger side of surface or picture, from lift to press; no source


@dataclass(frozen=True)
class RunSummary:
    """What a run found, counted.

    Attributes
    ----------
    session
        The file.
    basis
        measured, or simulated where the footage says so.
    camera, carried, filter_name
        Who was followed by which camera, and how smoothed.
    times
        Where the frames' times come from, in words.
    frames, dots, doubtful_dots, trails, fixes, switch_downs, switch_ups
        Counts; doubtful dots have a reason against them.
    dropped
        Frames that the source announced and the run could not follow.
    footage_s, frames_per_s
        Length of the footage [s]; frames followed and stored a second of work [Hz].
    detect_ms, map_ms
        Medians of the time from having a frame to its dots, and to its fixes [ms].
    exports
        Folders written.
    findings
        What the user should know.
    """

    session: str
    basis: str
    camera: str
    carried: list[str]
    filter_name: str
    times: str
    frames: int
    dots: int
    doubtful_dots: int
    trails: int
    fixes: int
    switch_downs: int
    switch_ups: int
    dropped: int
    footage_s: float | None
    frames_per_s: float | None
    detect_ms: float | None
    map_ms: float | None
    exports: list[str]
    findings: tuple[Finding, ...]

    def as_dict(self) -> dict[str, Any]:
        """The summary as plain values, for JSON."""
        return {**asdict(self), "findings": [each.as_dict() for each in self.findings]}


def run(
    footage_path: Path,
    out: Path,
    rig: Path | None = None,
    registration_path: Path | None = None,
    filter_name: str = "none",
    csv_folder: Path | None = None,
    parquet_folder: Path | None = None,
    rate: str | None = None,
    progress: Progress = silent,
) -> RunSummary:
    """Follow the lights through every frame of recorded footage.

    Parameters
    ----------
    footage_path
        What `open_footage` reads.
    out
        The session to write; it must not exist.
    rig
        Its file or folder; without it the camera's noise is learnt from the pictures and what
        is carried has no names of its own.
    registration_path
        Maps the dots to the surface; without it there are no fixes.
    filter_name
        One of `track.filter.FILTERS`.
    csv_folder, parquet_folder
        Where to export the session to as well.
    rate
        By which frame times are counted, as ``"30 Hz"``.
    progress
        Told the share of frames done.

    Returns
    -------
    RunSummary

    Raises
    ------
    RushlightError
        When an input cannot be used or a frame cannot be read; what was complete is kept.
    """
    new_filter = filter_maker(filter_name)
    setting = _prepare(footage_path, rig, registration_path, rate)
    header = _header(setting, filter_name)
    counts = Tally()
    with SessionWriter(out, header, setting.basis) as session:
        try:
            for followed in follow(setting.footage, setting.follower(new_filter)):
                counts.add(followed)
                _store(session, followed)
                if counts.frames % _TELL_EVERY == 0:
                    progress("following the lights", counts.share(setting.footage.frames))
        except RushlightError as error:
            raise RushlightError([*error.findings, _kept(out, counts.frames)]) from error
        for finding in setting.footage.findings:
            if finding.severity == "warning":
                session.put_event(Event(counts.last_ns, "fault", detail=str(finding)))
    progress("following the lights", 1.0)
    exports = _export(out, csv_folder, parquet_folder)
    return _summary(out, setting, filter_name, counts, exports)


@dataclass(frozen=True)
class _Setting:
    """Everything a run needs, read and checked."""

    footage: Footage
    noise: SensorNoise
    carried: list[str]
    identity: Identity
    surface_map: SurfaceMap | None
    row_time_s: float
    rig: Rig | None
    registration: Registration | None
    findings: list[Finding]

    @property
    def basis(self) -> Any:
        """What the session rests on."""
        return "simulated" if self.footage.simulated else "measured"

    def follower(self, new_filter: Any) -> Follower:
        """A follower for this footage, knowing nothing yet."""
        return Follower(
            detect=Detector(*self.footage.size_px, self.noise),
            linker=Linker(coast_s=RELEASE_S),
            new_filter=new_filter,
            identity=self.identity,
            surface_map=self.surface_map,
            row_time_s=self.row_time_s,
        )


def _prepare(
    footage_path: Path, rig_file: Path | None, registration_path: Path | None, rate: str | None
) -> _Setting:
    """Read the inputs, and refuse those that do not belong together."""
    findings: list[Finding] = []
    rig, shelf = (None, None) if rig_file is None else load_rig(rig_file)
    first_camera = "camera" if rig is None else rig.cameras[0].id
    footage = open_footage(footage_path, typed_rate_hz(rate), first_camera)
    noise, carried, homes, row_time_s = SensorNoise.unknown(), list(UNNAMED), None, 0.0
    registration = None
    if registration_path is not None:
        registration = read_document(Registration, registration_path)
    if rig is not None and shelf is not None and rig_file is not None:
        name = rig_path(rig_file).name
        resolved = resolve(rig, shelf, name)
        camera = camera_of(rig, resolved, footage, name)
        noise = noise_of(resolved, camera)
        row_time_s = float(resolved.cameras.row_time_s[0, camera])
        things = followed_things(rig)
        carried = [thing.id for thing in things]
        if registration is not None:
            homes = homes_of(things, rig, resolved)
        findings += _rig_findings(rig, footage, name)
    surface_map = None
    if registration is not None and registration_path is not None:
        surface_map = SurfaceMap(registration, footage.camera, footage.size_px)
        findings += doubts_of(registration, registration_path.name, footage.simulated)
    extent = footage.size_px if surface_map is None else surface_map.size_m
    return _Setting(
        footage=footage,
        noise=noise,
        carried=carried,
        identity=Identity(
            carried, homes, _REACH * float(max(extent)), _marks(footage, surface_map)
        ),
        surface_map=surface_map,
        row_time_s=row_time_s,
        rig=rig,
        registration=registration,
        findings=findings,
    )


def _marks(footage: Footage, surface_map: SurfaceMap | None) -> Marks:
    """Where people are asked to press, if the footage tells and a map lets it be compared."""
    sidecar = footage.header
    if surface_map is None or sidecar is None or sidecar.script not in TOUCHING_SCRIPTS:
        return no_marks
    return marks_of(sidecar.goals)


def _rig_findings(rig: Rig, footage: Footage, name: str) -> list[Finding]:
    """Whether the footage was made from another state of the rig."""
    made_from = footage.header.rig if footage.header else None
    if made_from in (None, rig.content_hash()):
        return []
    return [
        Finding(
            "warning",
            "rig-changed",
            name,
            "",
            "has changed since the footage was made from it",
            "simulate anew, or take the rig as it was",
        )
    ]


def _header(setting: _Setting, filter_name: str) -> SessionHeader:
    """What the session says of its origin."""
    sidecar = setting.footage.header
    kind: Any = "simulated" if setting.footage.simulated else "file"
    return SessionHeader(
        rig=setting.rig.content_hash() if setting.rig else None,
        rig_name=setting.rig.name if setting.rig else "",
        footage=setting.footage.content_hash,
        registration=setting.registration.content_hash() if setting.registration else None,
        cameras=[setting.footage.camera],
        carried=setting.carried,
        clocks=[Clock(id="footage", kind=kind)],
        filter_name=filter_name,
        causes=sidecar.causes if sidecar else None,
        script=sidecar.script if sidecar else None,
        goals=sidecar.goals if sidecar else [],
    )


def _store(session: SessionWriter, followed: Followed) -> None:
    """Add one frame's results to the session."""
    frame = followed.frame
    session.put_frame(frame)
    session.put_dots(frame.camera, frame.index, followed.dots)
    session.put_links(followed.links)
    for fix in followed.fixes:
        session.put_fix(fix)
    for event in followed.events:
        session.put_event(event)


def _kept(out: Path, frames: int) -> Finding:
    """What is told beside an error in the middle of the footage."""
    return Finding(
        "note", "kept", str(out), f"{frames} frames", "were followed before that and are kept", ""
    )


def _export(out: Path, csv_folder: Path | None, parquet_folder: Path | None) -> list[str]:
    """Write the wanted exports."""
    if csv_folder is None and parquet_folder is None:
        return []
    with SessionReader(out) as reader:
        if csv_folder is not None:
            export_csv(reader, csv_folder)
        if parquet_folder is not None:
            export_parquet(reader, parquet_folder)
    return [str(folder) for folder in (csv_folder, parquet_folder) if folder is not None]


def _summary(
    out: Path, setting: _Setting, filter_name: str, counts: Tally, exports: list[str]
) -> RunSummary:
    """The counts in words and units."""
    return RunSummary(
        session=str(out),
        basis=setting.basis,
        camera=setting.footage.camera,
        carried=setting.carried,
        filter_name=filter_name,
        times=setting.footage.times,
        frames=counts.frames,
        dots=counts.dots,
        doubtful_dots=counts.doubtful,
        trails=len(counts.trails),
        fixes=counts.fixes,
        switch_downs=counts.events["switch-down"],
        switch_ups=counts.events["switch-up"],
        dropped=max((setting.footage.frames or counts.frames) - counts.frames, 0),
        footage_s=counts.footage_s(),
        frames_per_s=counts.frames_per_s(),
        detect_ms=median_ms(counts.detect_s),
        map_ms=median_ms(counts.map_s),
        exports=exports,
        findings=(*setting.findings, *setting.footage.findings),
    )
