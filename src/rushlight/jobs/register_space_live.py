"""Register the cameras of a rig in space while somebody looks, places or swings.

Each step is told, begun by a word of the user, and counts once its dots were seen and held still.
What counts is judged as in footage of the same steps, so that both ways of registering agree.
"""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import nullcontext
from dataclasses import dataclass, field
from pathlib import Path
from queue import Empty, SimpleQueue
from typing import Literal, Protocol

from rushlight.capture.together import LiveTogether
from rushlight.errors import RushlightError
from rushlight.jobs.load import load_rig, rig_path
from rushlight.jobs.register_space import SpaceRegisterResult, written
from rushlight.jobs.registering_space import Seen, fitted
from rushlight.jobs.rehearsal import SpaceRehearsalSource
from rushlight.jobs.run_space import check_sizes
from rushlight.jobs.space_sources import open_sources
from rushlight.keep.writer import SessionWriter
from rushlight.plan.space_design import HELD_S, Design, design_of
from rushlight.records.document import Basis
from rushlight.records.dots import Dots, Frame
from rushlight.records.rig import Rig
from rushlight.records.session import Clock, SessionHeader
from rushlight.records.space import ResolvedSpace, looking_words
from rushlight.records.space_footage import SpaceMark
from rushlight.records.space_plan import PlannedMark
from rushlight.register.space_held import MOVED_PX, dots_at_rest
from rushlight.see.detect import Detector
from rushlight.shelf.resolve_space import resolve_space, space_kinds
from rushlight.track.rig import noise_of

LEAD_S = 0.7
"""From the user's word to the hold, so that the hand that gave it is at rest [s]; no source."""
SWING_S = 20.0
"""For how long a bar is swung [s]: longer than the plan counts on (our choice)."""
LEAST_DOTS = 2
"""A step with fewer dots names no light."""

Word = Literal["begin", "skip", "back", "finish"]
"""What the user may say: the step begins; it is passed over; the one before is made again; no more
steps are made."""
Asks = SimpleQueue[Word]


@dataclass(frozen=True)
class Step:
    """What is to be done now.

    Attributes
    ----------
    number, of
        From 1, and how many there are.
    mark
        Of a look or a placing; None for a swing.
    carried
        What is worn, placed or swung.
    lasts_s
        How long it is held, or swung [s].
    how
        Of a look, how to look.
    """

    number: int
    of: int
    mark: PlannedMark | None
    carried: str
    lasts_s: float
    how: str = ""


class Show(Protocol):
    """Who tells the user."""

    def step(self, step: Step) -> None:
        """Another step is to be made."""

    def began(self, step: Step) -> None:
        """It has begun."""

    def held(self, share: float) -> None:
        """How much of the hold, or of the swing, is over: 0 to 1."""

    def ended(self, step: Step, dots: Sequence[int], why_not: str) -> None:
        """It has ended: the dots at rest by camera, and why it does not count, or ""."""

    def left(self, step: Step, back: bool) -> None:
        """It was passed over; or, if `back`, the one before it is to be made again."""

    def over(self) -> None:
        """No more steps are made: the cameras are being found."""

    def seen(self, camera: int, frame: Frame, dots: Dots) -> None:
        """A frame of a camera."""


def by_steps(rig_file: Path) -> bool:
    """Whether a rig is registered live by steps in space, and not by beacons of a surface."""
    return "surface" not in load_rig(rig_file)[0].kinds


def register_space_live(
    rig_file: Path,
    out: Path,
    show: Show,
    asks: Asks,
    sources: Sequence[str] | LiveTogether = (),
    *,
    lead_s: float = LEAD_S,
    held_s: float = HELD_S,
    swing_s: float = SWING_S,
) -> SpaceRegisterResult:
    """Tell each step of the registration, and register by what the cameras saw meanwhile.

    Parameters
    ----------
    rig_file
        The rig's file, or its folder; the steps are those of its plan.
    out
        Registration to write; a picture and the session of the steps stand beside it.
    show, asks
        Who tells the user what to do, and what the user says.
    sources
        As `rushlight.jobs.space_sources.named_sources` takes them, or opened.
    lead_s, held_s, swing_s
        From the word to the hold, how long it lasts, and how long a bar is swung [s], > 0.

    Returns
    -------
    SpaceRegisterResult
        Written even if it is not vouched for; its verdict then says why.

    Raises
    ------
    RushlightError
        When an input cannot be used, or the steps tell no cameras.
    """
    rig, shelf = load_rig(rig_file)
    name = rig_path(rig_file).name
    space = resolve_space(rig, shelf, name)
    design = design_of(space)
    if design.thing is None:
        raise RushlightError.of(
            f"{name}: kinds",
            ", ".join(space_kinds(rig)),
            "leave nothing to look past, to place on or to swing, so that the measured mounting "
            "counts",
            "leave --camera and --footage out, or give the rig a display or a scale bar",
            "nothing-to-register-by",
        )
    opened = (
        nullcontext(sources)
        if isinstance(sources, LiveTogether)
        else open_sources(sources, rig, rig_file, False)
    )
    with opened as source:
        check_sizes(space, source.sources)
        basis: Basis = "simulated" if source.simulated else "measured"
        people = [each for each in source.sources if isinstance(each, SpaceRehearsalSource)]
        steps = _Steps(space, design, show, asks, lead_s, held_s, swing_s, people)
        session = _session(rig, space, design, basis, out)
        detectors = [
            Detector(*each.size_px, noise_of(space, i, each.full_scale_dn))  # type: ignore[arg-type]
            for i, each in enumerate(source.sources)
        ]

        def stop_if_asked() -> None:
            if steps.heard(None):
                source.stop()

        source.on_silence = stop_if_asked
        with session:
            steps.tell()
            for camera, frame, given in source:
                if given is None and frame.image is None:
                    continue
                dots = detectors[camera](frame.image) if given is None else given
                session.put_frame(frame)
                session.put_dots(frame.camera, frame.index, dots)
                if steps.see(camera, frame, dots):
                    break
        findings = list(source.findings)
    steps.leave()
    # A mark that was taken back leaves its frames: without marks these would pass for a swing.
    if not (steps.marks if design.marks else any(steps.counted)):
        raise RushlightError.of(
            "register",
            "0 steps",
            "were made, which tells no camera",
            "make the steps that are told, or as many as you can, each begun by its word",
            "nothing-held",
        )
    show.over()
    found = fitted(space, rig.content_hash(), steps.marks, steps.counted, findings)
    inputs = {"rig": rig.content_hash(), "session": session.header.content_hash()}
    return written(space, found, out, basis, inputs, None, findings)


@dataclass
class _Steps:
    """One step after another, by what the user says and the cameras see."""

    space: ResolvedSpace
    design: Design
    show: Show
    asks: Asks
    lead_s: float
    held_s: float
    swing_s: float
    people: Sequence[SpaceRehearsalSource] = ()
    marks: list[SpaceMark] = field(default_factory=list)
    counted: list[Seen] = field(default_factory=list)
    _at: int = 0
    _from_ns: int | None = None
    _asked: bool = False
    _now: list[Seen] = field(default_factory=list)
    _newest_ns: list[int] = field(default_factory=list)

    def __post_init__(self) -> None:
        count = len(self.space.camera_ids)
        self.counted = [[] for _ in range(count)]
        self._now = [[] for _ in range(count)]
        self._newest_ns = [0] * count

    @property
    def _step(self) -> Step:
        thing = self.design.thing
        assert thing is not None
        marks = self.design.marks
        return Step(
            number=self._at + 1,
            of=max(len(marks), 1),
            mark=marks[self._at] if marks else None,
            carried=thing.id,
            lasts_s=self.held_s if marks else self.swing_s,
            how=looking_words(thing),
        )

    def tell(self) -> None:
        """Tell the step that is next; who is rehearsed takes it."""
        step = self._step
        self.show.step(step)
        if step.mark is not None:
            for each in self.people:
                each.take(step.mark)

    def heard(self, now_ns: int | None) -> bool:
        """Do what the user says; whether no more steps are wanted.

        A step that was asked for while no frames came begins with the next frame.

        Parameters
        ----------
        now_ns
            Moment of the newest frame [ns]; None while no frames come.
        """
        while True:
            if self._asked and now_ns is not None:
                self._asked = False
                self._from_ns = now_ns + round(self.lead_s * 1e9)
                self.show.began(self._step)
            try:
                word = self.asks.get_nowait()
            except Empty:
                return False
            if word == "finish":
                return True
            if word == "begin" and self._from_ns is None:
                self._asked = True
            elif word in ("skip", "back"):
                self._asked, self._from_ns = False, None
                self._now = [[] for _ in self._now]
                self.show.left(self._step, word == "back")
                if word == "back" and self._at > 0:
                    self._at -= 1
                    place = self._step.mark
                    self.marks = [m for m in self.marks if not _same(m, place)]
                elif word == "skip" and self._next():
                    return True
                self.tell()

    def see(self, camera: int, frame: Frame, dots: Dots) -> bool:
        """Take in a frame; whether all steps are made."""
        self.show.seen(camera, frame, dots)
        self._newest_ns[camera] = frame.capture_ns
        if self.heard(frame.capture_ns):
            return True
        if self._from_ns is None:
            return False
        until_ns = self._from_ns + round(self._step.lasts_s * 1e9)
        over = (frame.capture_ns - self._from_ns) / (until_ns - self._from_ns)
        self.show.held(min(max(over, 0.0), 1.0))
        if self._from_ns <= frame.capture_ns <= until_ns:
            self._now[camera].append((frame.capture_ns, dots))
        # A camera that is silent for as long again is waited for no longer.
        latest_ns = until_ns + round(self._step.lasts_s * 1e9)
        if min(self._newest_ns) <= until_ns and max(self._newest_ns) <= latest_ns:
            return False
        return self._ended(self._from_ns, until_ns)

    def leave(self) -> None:
        """No more frames are taken: a swing that goes on counts as far as it went."""
        if self._from_ns is not None and not self.design.marks:
            self.counted = self._now

    def _ended(self, from_ns: int, until_ns: int) -> bool:
        seen, step = self._now, self._step
        self._now, self._from_ns = [[] for _ in seen], None
        if step.mark is None:
            self.counted = seen
            self.show.ended(step, [max((len(d) for _, d in own), default=0) for own in seen], "")
            return True
        held = [dots_at_rest(own, from_ns, until_ns) for own in seen]
        dots = [len(each.px) for each in held]
        why_not = ""
        if max(each.strayed_px for each in held) > MOVED_PX:
            why_not = "it was not held still"
        elif max(dots) < LEAST_DOTS:
            why_not = f"fewer than {LEAST_DOTS} lights were seen at rest"
        self.show.ended(step, dots, why_not)
        if not why_not:
            for whole, own in zip(self.counted, seen, strict=True):
                whole.extend(own)
            self.marks.append(
                SpaceMark(
                    carried=step.mark.carried,
                    point=step.mark.point,
                    kind=step.mark.kind,
                    from_m=step.mark.from_m,
                    to_m=step.mark.to_m,
                    from_ns=from_ns,
                    until_ns=until_ns,
                )
            )
            if self._next():
                return True
        self.tell()
        return False

    def _next(self) -> bool:
        """Go on to the next step; whether there is none."""
        self._at += 1
        return self._at >= max(len(self.design.marks), 1)


def _same(made: SpaceMark, planned: PlannedMark | None) -> bool:
    return planned is not None and (made.from_m, made.to_m) == (planned.from_m, planned.to_m)


def _session(
    rig: Rig, space: ResolvedSpace, design: Design, basis: Basis, out: Path
) -> SessionWriter:
    """Where frames and dots of the steps are kept: a file that does not exist yet."""
    header = SessionHeader(
        rig=rig.content_hash(),
        rig_name=rig.name,
        cameras=list(space.camera_ids),
        carried=[] if design.thing is None else [design.thing.id],
        clocks=[Clock(id="host", kind="host-monotonic")],
        script="registration",
    )
    number = 1
    while True:
        more = "" if number == 1 else f"-{number}"
        path = out.with_name(f"{out.stem}-steps{more}.sqlite")
        if not path.exists():
            return SessionWriter(path, header, basis)
        number += 1
