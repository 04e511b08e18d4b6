"""What is true of simulated footage, kept in a session file of its own.

It has the shape of a recorded session: frames, the dots as they truly fell, which emitter made
each, where each tip truly was, and when each switch went. No stage but the assessment reads it.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from rushlight.keep.session import SessionWriter
from rushlight.records.arrays import Array
from rushlight.records.dots import Dots, Frame
from rushlight.records.session import (
    Clock,
    Event,
    Fix,
    FootageHeader,
    SessionHeader,
    TrailLink,
)
from rushlight.simulate.expose import TrueState
from rushlight.simulate.scripts import Script
from rushlight.simulate.world import World

_NEVER = -1


class TruthWriter:
    """Writes the truth of one footage beside it, as a context manager.

    Parameters
    ----------
    world, script
    path : Path
        Must not exist yet.
    header : FootageHeader
        Of the footage.
    rig_name : str

    Raises
    ------
    RushlightError
        When the file exists or cannot be written.
    """

    def __init__(
        self, world: World, script: Script, path: Path, header: FootageHeader, rig_name: str = ""
    ) -> None:
        self._world = world
        self._gain = float(world.rig.cameras.gain_e_per_dn[0, world.camera])
        self._hidden = np.zeros(len(world.cast.carried), bool)
        self._writer = SessionWriter(
            path,
            SessionHeader(
                rig=header.rig,
                rig_name=rig_name,
                footage=header.header.content_hash if header.header else None,
                cameras=[world.cast.camera],
                carried=list(dict.fromkeys(world.cast.carried)),
                clocks=[Clock(id="simulated", kind="simulated", std_ns=0.0)],
                causes=header.causes,
                script=script.name,
                role="truth",
            ),
            "simulated",
            seed=world.seed,
        )
        self._put_switches(script)

    def __enter__(self) -> TruthWriter:
        return self

    def __exit__(self, *_: object) -> None:
        self._writer.close()

    def put(self, frame: Frame, state: TrueState) -> None:
        """Add what is true of one frame."""
        self._writer.put_frame(frame)
        shown = np.flatnonzero(_in_picture(state, self._world.size_px))
        if shown.size:
            self._writer.put_dots(frame.camera, frame.index, self._dots(state, shown))
            self._writer.put_links(
                [self._link(frame, dot, int(emitter)) for dot, emitter in enumerate(shown)]
            )
        for emitter in np.flatnonzero(np.isfinite(state.tip_m[:, 0])):
            self._writer.put_fix(self._fix(frame, state, int(emitter)))
        self._put_hiding(frame, state)

    def _dots(self, state: TrueState, shown: Array) -> Dots:
        count = len(shown)
        return Dots(
            xy=state.px[shown],
            cov=np.zeros((count, 2, 2)),
            flux=state.electrons[shown] / self._gain,
            width=np.full((count, 3), np.nan),
            peak=np.full(count, np.nan),
            saturated=np.zeros(count, int),
            quality=np.ones(count),
            reason=np.zeros(count, int),
        )

    def _link(self, frame: Frame, dot: int, emitter: int) -> TrailLink:
        return TrailLink(
            camera=frame.camera,
            frame=frame.index,
            dot=dot,
            trail=emitter,
            carried=self._world.cast.carried[emitter],
            emitter=self._world.cast.emitters[emitter],
            confidence=1.0,
            state="held",
        )

    def _fix(self, frame: Frame, state: TrueState, emitter: int) -> Fix:
        x_m, y_m = state.tip_m[emitter]
        return Fix(
            capture_ns=frame.capture_ns,
            valid_ns=int(state.valid_ns[emitter]),
            detect_ns=_NEVER,
            map_ns=_NEVER,
            sent_ns=_NEVER,
            frame=frame.index,
            carried=self._world.cast.carried[emitter],
            point="tip",
            trail=emitter,
            dimensions=2,
            surface=self._world.cast.surface,
            switch=bool(state.lit[emitter]),
            cameras=(frame.camera,),
            predicted=False,
            hypotheses=(1.0,),
            position_m=np.array([x_m, y_m, np.nan]),
        )

    def _put_switches(self, script: Script) -> None:
        rows = [
            (time_s, kind, line.emitter)
            for line in script.timelines
            for spell in line.lit_s
            for time_s, kind in zip(spell, ("switch-down", "switch-up"), strict=True)
        ]
        for time_s, kind, emitter in sorted(rows):
            self._writer.put_event(
                Event(
                    time_ns=round(time_s * 1e9),
                    kind=kind,  # type: ignore[arg-type]
                    carried=self._world.cast.carried[emitter],
                    trail=emitter,
                )
            )

    def _put_hiding(self, frame: Frame, state: TrueState) -> None:
        hidden = state.lit & state.occluded
        for emitter in np.flatnonzero(hidden != self._hidden):
            self._writer.put_event(
                Event(
                    time_ns=int(state.valid_ns[emitter]),
                    kind="lost" if hidden[emitter] else "found",
                    carried=self._world.cast.carried[emitter],
                    trail=int(emitter),
                    frame=frame.index,
                    detail="hidden by the holder's body" if hidden[emitter] else "no longer hidden",
                )
            )
        self._hidden = hidden


def _in_picture(state: TrueState, size_px: tuple[int, int]) -> Array:
    """Which emitters' centres lie within the picture and left light there: (E,) bool."""
    px = np.nan_to_num(state.px, nan=-np.inf)
    inside = np.all((px >= -0.5) & (px <= np.array(size_px) - 0.5), axis=-1)
    return np.asarray(inside & (state.electrons > 0))
