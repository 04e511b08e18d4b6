"""Take a camera's shaking off, by lights that are fixed in the room.

The camera's pose now is that of the registration, turned by a small angle about each axis and
shifted a little. Anchors at known places show how their dots have gone from home; of all turns and
shifts the most likely is taken, given how far the dots are off and how far a camera is expected
to shake. So one anchor tells how the picture has moved, two also how it is rolled, and more of
them leave less to what was expected; whatever they leave open stands in the covariance.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from rushlight.errors import Finding
from rushlight.physics.geometry.pose import invert_transform, transform_points
from rushlight.physics.surface_map import camera_of_plane_map
from rushlight.records.arrays import Array
from rushlight.records.dots import Dots
from rushlight.records.registration import Registration
from rushlight.records.rig import Rig
from rushlight.see.assign import assign
from rushlight.track.moved import MoveWatch
from rushlight.track.shaking import Shake, View, rotation

TURN_STD_RAD = math.radians(0.3)
SHIFT_STD_M = 0.001
SHAKE_S = 0.05
"""How far a camera on a stand or ceiling is expected to shake, in turn about each axis and shift
along it, and over what time it forgets [s]; no source."""

LEARN_S = 1.0
"""How long an anchor must have been seen before its home is known [s]."""

LEARN_REACH_PX = 20.0
"""Farthest of an anchor's dot from where the registration expects it, until its home is known."""

GATE_SIGMAS = 5.0
UNSEEN_S = 2.0
"""Time without any anchor after which that is told [s]; no source."""

_LEAST_MOVE_PX = 0.1  # a block's deviation allowed in any case, at the rim of the picture
_DOT_STD_PX = 0.3  # of a dot that does not know its own
_HOME_STD_PX = 0.03  # of a home against the others, by noise while it was learnt and by the lens


class Anchors:
    """Follows the anchors' dots, and tells from them how the camera stands.

    Parameters
    ----------
    names
        Their ids.
    places_m
        (A, 3) where they are, from the surface's lower-left corner [m].
    view
        How the camera saw when it was registered.
    homes_px
        (A, 2) their dots at that time [px], NaN for those to be learnt; all are learnt within the
        first second when left out.
    turn_std_rad, shift_std_m, shake_s
        How far the camera is expected to shake, and over what time it forgets, > 0.
    """

    def __init__(
        self,
        names: Sequence[str],
        places_m: Array,
        view: View,
        homes_px: Array | None = None,
        turn_std_rad: float = TURN_STD_RAD,
        shift_std_m: float = SHIFT_STD_M,
        shake_s: float = SHAKE_S,
    ) -> None:
        self.names = tuple(names)
        self._view = view
        self._places_m = transform_points(
            invert_transform(view.surface_from_camera), np.asarray(places_m, float).reshape(-1, 3)
        )
        if len(self._places_m) != len(self.names):
            raise ValueError(f"expected {len(self.names)} places, got {len(self._places_m)}")
        self._places_m[self._places_m[:, 2] <= 0.0] = np.nan
        self._expected_px = view.px(self._places_m)
        self._aside_px = np.zeros_like(self._expected_px)
        self._learnt: Array = np.zeros(len(self.names), bool)
        self._seen: list[list[tuple[int, Array]]] = [[] for _ in self.names]
        self._home_cov = np.zeros((6, 6))
        if homes_px is not None:
            self._learnt[:] = np.isfinite(homes_px - self._expected_px).all(axis=1)
            self._aside_px[self._learnt] = (homes_px - self._expected_px)[self._learnt]
        self._prior = np.diag([turn_std_rad**2] * 3 + [shift_std_m**2] * 3)
        self._shake_s = shake_s
        self._pose = np.zeros(6)
        self._cov = self._prior.copy()
        self._time_ns: int | None = None
        self._last_seen_ns: int | None = None
        self._unseen_told = False
        # How far a turn about each axis moves the picture: a roll moves its corners most.
        corner_px = float(np.linalg.norm(view.K[:2, 2]))
        self._scale_px = np.array([view.K[1, 1], view.K[0, 0], corner_px])
        self._watch = MoveWatch(_LEAST_MOVE_PX / self._scale_px)

    def step(self, time_ns: int, dots: Dots) -> Shake:
        """How the camera stands in the next frame.

        Parameters
        ----------
        time_ns
            The frame's time [ns], later than the frame before.
        dots
            All its dots.
        """
        dt_s = 0.0 if self._time_ns is None else (time_ns - self._time_ns) * 1e-9
        self._time_ns = time_ns
        kept = math.exp(-dt_s / self._shake_s)
        self._pose = kept * self._pose
        self._cov = kept**2 * self._cov + (1.0 - kept**2) * self._prior
        finite = np.isfinite(dots.cov).all(axis=(1, 2), keepdims=True)
        spread = np.where(finite, dots.cov, _DOT_STD_PX**2 * np.eye(2))
        now_m = np.asarray(self._places_m @ rotation(self._pose[:3]).T + self._pose[3:])
        slope = self._view.change(now_m)
        # By how much a home differs from what the registration expects is lens and tape measure.
        off_px = dots.xy - (self._view.px(now_m) + self._aside_px)[:, None]
        dot = self._pair(dots, spread, off_px, slope)
        used = np.flatnonzero((dot >= 0) & self._learnt)
        used = self._correct(used, off_px[used, dot[used]], spread[dot[used]], slope[used])
        known = bool(self._learnt.any())
        others = np.ones(len(dots), bool)
        others[dot[dot >= 0]] = False
        cov = self._cov + self._home_cov
        findings = self._learn(time_ns, dots, dot, known)
        findings += self._look_out(time_ns, dot, len(used) > 0)
        return Shake(self._view, self._pose, cov, dot, others, known, tuple(findings))

    def _pair(self, dots: Dots, spread: Array, off_px: Array, slope: Array) -> Array:
        """The dot of each anchor, −1 for none.

        Parameters
        ----------
        dots
            All of them.
        spread
            (N, 2, 2) their covariances [px²].
        off_px
            (A, N, 2) of each dot from where each anchor is expected [px].
        slope
            (A, 2, 6) how the anchors' dots change with the pose.
        """
        doubt = slope @ self._cov @ np.swapaxes(slope, -1, -2)
        inverse = np.linalg.inv(spread[None] + doubt[:, None])
        squared = np.einsum("kni,knij,knj->kn", off_px, inverse, off_px)
        plain = (off_px**2).sum(axis=-1) * (GATE_SIGMAS / LEARN_REACH_PX) ** 2
        cost = np.where(self._learnt[:, None], squared, plain)
        # An anchor that the camera cannot see is expected nowhere.
        cost = np.where(np.isfinite(cost) & (dots.reason == 0), cost, np.inf)
        return assign(cost, GATE_SIGMAS**2, GATE_SIGMAS**2)

    def _correct(self, used: Array, off_px: Array, cov_px2: Array, slope: Array) -> Array:
        """Let the dots tell the pose; those that contradict all others are left out.

        Parameters
        ----------
        used
            (U,) indices of the anchors seen.
        off_px, cov_px2, slope
            (U, 2) their dots from where they were expected [px], the dots' covariances, and how
            they change with the pose.

        Returns
        -------
        Array
            The anchors that counted.
        """
        while len(used):
            flat = slope.reshape(-1, 6)
            noise = _blocks(cov_px2 + _HOME_STD_PX**2 * np.eye(2))
            spread = flat @ self._cov @ flat.T + noise
            gain = np.linalg.solve(spread, flat @ self._cov).T
            step = gain @ off_px.reshape(-1)
            left = off_px - slope @ step
            squared = np.einsum("ki,ki->k", left, left) / np.trace(
                cov_px2 + _HOME_STD_PX**2 * np.eye(2), axis1=1, axis2=2
            )
            if len(used) < 3 or squared.max() < GATE_SIGMAS**2:
                keep = np.eye(6) - gain @ flat
                self._pose = self._pose + step
                self._cov = keep @ self._cov @ keep.T + gain @ noise @ gain.T
                break
            stay = np.arange(len(used)) != int(squared.argmax())
            used, off_px, cov_px2, slope = used[stay], off_px[stay], cov_px2[stay], slope[stay]
        return used

    def _learn(self, time_ns: int, dots: Dots, dot: Array, known: bool) -> list[Finding]:
        """Gather the homes that are not known yet; what is odd about those just learnt."""
        findings = []
        for k in np.flatnonzero(~self._learnt & (dot >= 0)):
            xy = dots.xy[dot[k]]
            if known:  # free of what the others tell
                now_m = self._places_m[k] @ rotation(self._pose[:3]).T + self._pose[3:]
                xy = xy - (self._view.px(now_m) - self._expected_px[k])
            seen = self._seen[k]
            seen.append((time_ns, xy))
            if time_ns - seen[0][0] < LEARN_S * 1e9:
                continue
            places = np.array([place for _, place in seen])
            self._aside_px[k] = np.median(places, axis=0) - self._expected_px[k]
            self._learnt[k] = True
            # While it was learnt the camera was not at home on average; all homes are off by that.
            turn2 = np.trace(_cov_of_mean(places)) / 2.0 / self._view.K[0, 0] ** 2
            self._home_cov[0, 0] = self._home_cov[1, 1] = max(self._home_cov[0, 0], turn2)
            seen.clear()
            findings += self._check_home(int(k))
        return findings

    def _check_home(self, k: int) -> list[Finding]:
        """Whether an anchor is where the registration expects it."""
        away_px = float(np.linalg.norm(self._aside_px[k]))
        # A place measured to a centimetre, and a turn within what shaking may do.
        px_a_metre = self._view.K[0, 0] / self._places_m[k, 2]
        allowed_px = 3.0 * math.hypot(0.01 * px_a_metre, 1.0)
        if away_px <= allowed_px:
            return []
        return [
            Finding(
                "warning",
                "anchor-aside",
                f"anchor {self.names[k]}",
                f"{away_px:.0f} px",
                f"is farther from where the registration expects it than {allowed_px:.0f} px",
                "measure its place again; if that is right, the camera has moved: register anew",
            )
        ]

    def _look_out(self, time_ns: int, dot: Array, counted: bool) -> list[Finding]:
        """Whether the camera has moved for good, or no anchor is seen any more."""
        findings = []
        if counted:
            moved = self._watch.seen(time_ns, self._pose[:3])
            if moved is not None:
                px = float(np.linalg.norm(moved * self._scale_px))
                findings.append(
                    Finding(
                        "warning",
                        "camera-moved",
                        "camera",
                        f"{px:.1f} px",
                        "is how far its picture has moved for good; the anchors go on correcting"
                        " what they can tell",
                        "fasten the camera and register anew",
                    )
                )
        if self._last_seen_ns is None or (dot >= 0).any():
            self._last_seen_ns, self._unseen_told = time_ns, False
        elif not self._unseen_told and time_ns - self._last_seen_ns > UNSEEN_S * 1e9:
            self._unseen_told = True
            findings.append(
                Finding(
                    "warning",
                    "anchors-unseen",
                    "anchors",
                    "",
                    f"have not been seen for {UNSEEN_S:.0f} s: shaking is not taken off",
                    "free the camera's view of them; if it was knocked, register anew",
                )
            )
        return findings


def _blocks(each: Array) -> Array:
    """(2U, 2U) with (U, 2, 2) along the diagonal."""
    count = len(each)
    whole = np.zeros((count, 2, count, 2))
    whole[np.arange(count), :, np.arange(count), :] = each
    return whole.reshape(2 * count, 2 * count)


def _cov_of_mean(places: Array) -> Array:
    """Covariance (2, 2) of the mean of places (N, 2) that follow on one another.

    Shaking makes neighbours alike and, half a swing later, opposite; what is left in the mean is
    the sum of the covariances at all lags, tapered (Bartlett's window, from memory).
    """
    count = len(places)
    if count < 3:
        return _DOT_STD_PX**2 * np.eye(2)
    off = places - places.mean(axis=0)
    single = off.T @ off / count
    whole = single.copy()
    lags = max(1, count // 3)
    for lag in range(1, lags):
        product = off[lag:].T @ off[:-lag] / count
        whole += (1.0 - lag / lags) * (product + product.T)
    # The few swings of a second cannot prove that the mean is better than this.
    least = single / count
    return np.asarray(whole / count if np.trace(whole) > np.trace(least) * count else least)


def anchors_of(rig: Rig, registration: Registration, camera: str) -> Anchors | None:
    """The anchors of a rig, ready for one of its cameras; None where it has none.

    Parameters
    ----------
    rig
        The document; its frame is the first surface's.
    registration
        Of that camera; it must hold a map of it.
    camera
        Its id.
    """
    if not rig.anchors:
        return None
    own = next(one for one in registration.maps if one.camera == camera)
    size_m = np.array(registration.valid_for.surface_size_m)
    view = View(
        K=np.array(own.camera_matrix, float),
        distortion=np.array(own.distortion, float),
        surface_from_camera=camera_of_plane_map(np.array(own.surface_from_normalised), size_m),
    )
    places_m = np.array([[step.value for step in anchor.position] for anchor in rig.anchors])
    # The map speaks of the plane in which the lights stood, the rig of the surface itself.
    places_m[:, 2] -= registration.mean_height_m
    return Anchors([anchor.id for anchor in rig.anchors], places_m, view)
