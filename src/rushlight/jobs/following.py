"""What following needs, read and checked: the rig, the registration, the names."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np

from rushlight.errors import Finding, RushlightError
from rushlight.jobs.belonging import Source, camera_of
from rushlight.jobs.inspect_files import hot_pixels
from rushlight.jobs.load import load_rig, rig_path
from rushlight.jobs.surveyed import survey_of_registration, unheeded
from rushlight.keep.writer import SessionWriter
from rushlight.plan.evaluate import evaluate
from rushlight.records.document import Basis
from rushlight.records.joint_registration import registration_of
from rushlight.records.registration import DisplaySurvey, Registration
from rushlight.records.resolved import ResolvedRig
from rushlight.records.rig import Rig
from rushlight.records.session import Clock, FootageHeader, SessionHeader
from rushlight.see.blink import Code, check_codes, codes_of
from rushlight.see.hot import HotPixels
from rushlight.see.learning import LearningDetector
from rushlight.see.link import Linker
from rushlight.see.sensor import SensorNoise
from rushlight.shelf.resolve import resolve
from rushlight.track.anchors import Anchors, anchors_of
from rushlight.track.coding import Coding
from rushlight.track.filter import PointFilter
from rushlight.track.following import Followed, Follower
from rushlight.track.glance import Glance
from rushlight.track.identity import Identity, Marks, marks_of, no_marks
from rushlight.track.mapping import SurfaceMap, doubts_of
from rushlight.track.rig import followed_things, homes_of, noise_of

UNNAMED = tuple(f"light-{number}" for number in range(1, 9))
"""Names for what is seen where no rig says who carries what."""

TOUCHING_SCRIPTS = frozenset({"registration", "grid", "tapping"})
"""Scripts whose goals are touched where they stand; those of strokes are only arrived at."""

LONGEST_DARK_S = 0.3
"""A code that is dark for longer lets a light that went off count as on for too long; no source."""

_REACH = 0.5  # of the larger side of surface or picture, from lift to press; no source


@dataclass(frozen=True)
class Setting:
    """Everything a run needs, read and checked."""

    source: Source
    sidecar: FootageHeader | None
    noise: SensorNoise
    carried: list[str]
    identity: Identity
    surface_map: SurfaceMap | None
    row_time_s: float
    codes: list[Code]
    exposure_s: float
    anchors: Anchors | None
    hot: HotPixels | None
    rig: Rig | None
    registration: Registration | None
    findings: list[Finding]
    survey: DisplaySurvey | None = None

    @property
    def basis(self) -> Basis:
        """What the session rests on."""
        return "simulated" if self.source.simulated else "measured"

    def follower(self, new_filter: Callable[[], PointFilter], in_a_hurry: bool = False) -> Follower:
        """A follower for this source, knowing nothing yet.

        Parameters
        ----------
        new_filter
            Makes the filter of a new trail.
        in_a_hurry
            Whether frames are lost when following takes too long, so that windows may be searched
            instead of whole pictures.
        """
        linker = Linker()
        detect = LearningDetector(*self.source.size_px, self.noise, self.hot)
        return Follower(
            detect=detect,
            glance=Glance(detect) if in_a_hurry and self.anchors is None else None,
            linker=linker,
            new_filter=new_filter,
            identity=self.identity,
            surface_map=self.surface_map,
            row_time_s=self.row_time_s,
            coding=Coding(self.codes, self.identity, linker, self.exposure_s),
            anchors=self.anchors,
        )


def prepare(
    source: Source,
    sidecar: FootageHeader | None,
    rig_file: Path | None,
    registration_path: Path | None,
) -> Setting:
    """Read the inputs, and refuse those that do not belong together.

    Parameters
    ----------
    source
        Of the frames.
    sidecar
        Of recorded footage that has one.
    rig_file, registration_path
        As the user gave them, or None.

    Raises
    ------
    RushlightError
        When one cannot be used, or they are of different rigs, cameras or sizes.
    """
    findings: list[Finding] = []
    rig, shelf = (None, None) if rig_file is None else load_rig(rig_file)
    noise, carried, homes, row_time_s = SensorNoise.unknown(), list(UNNAMED), None, 0.0
    codes: list[Code] = []
    exposure_s, anchors, hot = 0.0, None, None
    registration, surface_map, survey = None, None, None
    if registration_path is not None:
        registration = registration_of(registration_path, source.camera)
        # First of all: it refuses a registration that is of another camera or size.
        surface_map = SurfaceMap(registration, source.camera, source.size_px)
    if rig is not None and shelf is not None and rig_file is not None:
        name = rig_path(rig_file).name
        resolved = resolve(rig, shelf, name)
        camera = camera_of(rig, resolved, source, name)
        noise = noise_of(resolved, camera, source.full_scale_dn)
        row_time_s = float(resolved.cameras.row_time_s[0, camera])
        things = followed_things(rig)
        carried = [thing.id for thing in things]
        hot = hot_pixels(rig_path(rig_file).parent, rig.cameras[camera].part, source.size_px)
        codes = codes_of(things)
        if codes:
            exposure_s = _exposure_s(resolved, camera, sidecar)
            rate_hz = float(resolved.cameras.frame_rate_hz[0, camera])
            findings += check_codes(codes, rate_hz, Linker().confirm_frames, LONGEST_DARK_S)
        if registration is not None:
            homes = homes_of(things, rig, resolved)
            survey = survey_of_registration(registration, rig_file, rig.surfaces[0])
            findings += unheeded(registration, rig_file)
            anchors = anchors_of(rig, registration, source.camera)
        findings += _rig_findings(rig, sidecar, name)
    if registration is not None and registration_path is not None:
        findings += doubts_of(registration, registration_path.name, source.simulated)
    extent = source.size_px if surface_map is None else surface_map.size_m
    return Setting(
        source=source,
        sidecar=sidecar,
        noise=noise,
        carried=carried,
        identity=Identity(
            carried,
            homes,
            _REACH * float(max(extent)),
            _marks(sidecar, surface_map),
            coded=[code.carried for code in codes],
        ),
        surface_map=surface_map,
        row_time_s=row_time_s,
        codes=codes,
        exposure_s=exposure_s,
        anchors=anchors,
        hot=hot,
        rig=rig,
        registration=registration,
        findings=findings,
        survey=survey,
    )


def _exposure_s(resolved: ResolvedRig, camera: int, sidecar: FootageHeader | None) -> float:
    """Of the footage, or else of the rig, or else as a plan would choose it [s]."""
    if sidecar is not None and sidecar.exposure_ns > 0:
        return sidecar.exposure_ns * 1e-9
    told = float(resolved.cameras.exposure_s[0, camera])
    return told if np.isfinite(told) else float(evaluate(resolved).exposure_s[0, camera])


def own_filter(rig: Rig | None) -> str:
    """How the rig wants its trails smoothed."""
    return "none" if rig is None or rig.smoothing is None else rig.smoothing.filter


def _marks(sidecar: FootageHeader | None, surface_map: SurfaceMap | None) -> Marks:
    """Where people are asked to press, if the footage tells and a map lets it be compared."""
    if surface_map is None or sidecar is None or sidecar.script not in TOUCHING_SCRIPTS:
        return no_marks
    return marks_of(sidecar.goals)


def _rig_findings(rig: Rig, sidecar: FootageHeader | None, name: str) -> list[Finding]:
    """Whether the footage was made from another state of the rig."""
    made_from = sidecar.rig if sidecar else None
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


def header_of(
    setting: Setting, filter_name: str, clock: Clock, footage_hash: str | None = None
) -> SessionHeader:
    """What the session says of its origin.

    Parameters
    ----------
    setting
        From `prepare`.
    filter_name
        By which trails are smoothed.
    clock
        That the frames' times are read from.
    footage_hash
        Content hash of recorded footage; None for what was seen live.
    """
    sidecar = setting.sidecar
    return SessionHeader(
        rig=setting.rig.content_hash() if setting.rig else None,
        rig_name=setting.rig.name if setting.rig else "",
        footage=footage_hash,
        registration=setting.registration.content_hash() if setting.registration else None,
        cameras=[setting.source.camera],
        carried=setting.carried,
        clocks=[clock],
        filter_name=filter_name,
        causes=sidecar.causes if sidecar else None,
        script=sidecar.script if sidecar else None,
        goals=sidecar.goals if sidecar else [],
    )


def live_session(out: Path | None, header: SessionHeader, basis: Basis) -> SessionWriter:
    """The session that a live run writes.

    Parameters
    ----------
    out
        File to write; it must not exist. None takes a name of the moment, in the folder at hand.
    header, basis
        As `SessionWriter` takes them.

    Raises
    ------
    RushlightError
        When it cannot be written.
    """
    if out is not None:
        return SessionWriter(out, header, basis, live=True)
    return _session_of_the_moment(header, basis)


def _session_of_the_moment(header: SessionHeader, basis: Basis) -> SessionWriter:
    """A live session named after the moment, in the folder at hand.

    Runs that begin within one second get names of their own: a file is made only where there is
    none, and the next number is tried otherwise.

    Parameters
    ----------
    header, basis
        As `SessionWriter` takes them.

    Raises
    ------
    RushlightError
        When no file can be written there.
    """
    moment = datetime.now().strftime("session-%Y%m%d-%H%M%S")
    for number in itertools.count(1):
        path = Path(f"{moment}.sqlite" if number == 1 else f"{moment}-{number}.sqlite")
        try:
            return SessionWriter(path, header, basis, live=True)
        except RushlightError as error:
            if [finding.code for finding in error.findings] != ["session-exists"]:
                raise
    raise AssertionError("numbers do not end")


def store(session: SessionWriter, followed: Followed) -> None:
    """Add one frame's results to the session."""
    frame = followed.frame
    session.put_frame(frame)
    session.put_dots(frame.camera, frame.index, followed.dots)
    session.put_links(followed.links)
    for fix in followed.fixes:
        session.put_fix(fix)
    for event in followed.events:
        session.put_event(event)
