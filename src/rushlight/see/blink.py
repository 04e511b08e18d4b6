"""Tell which code a light blinks, from the frames that show it and those that do not.

A coded light repeats its bits for ever; nobody knows at which of them it was when it came into
view. Each frame therefore speaks for or against every code at every phase, by how much of its
exposure the light should have been lit, and by how often dots fail or come from elsewhere. What
is weighed against the codes is a light that is always lit, and one that flickers anyhow.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rushlight.errors import Finding
from rushlight.records.arrays import Array
from rushlight.records.rig import Carried

STEADY, ERRATIC = -1, -2
"""What a reading says instead of a code: always lit; or neither steady nor any of the codes."""

MISS, STRAY = 0.01, 0.005
"""Chance that a lit light gives no dot in a frame, and that a dark one seems to; no source."""

FAILS, RECOVERS = 0.005, 0.25
"""Chance from frame to frame that a light's dots begin to fail, as when something passes before
it, and that they come again; no source."""

SURE = 0.999
"""Confidence at which a reading counts."""

_STEPS = 8  # phases told apart within a bit
_REMEMBERED = 4.0  # lengths of the longest code after which evidence has faded to 1/e


@dataclass(frozen=True, slots=True)
class Code:
    """What a coded light repeats.

    Attributes
    ----------
    carried, emitter
        Ids of the thing and of its light.
    bits
        One digit a bit, 1 for lit.
    bit_s
        Length of a bit [s], > 0.
    """

    carried: str
    emitter: str
    bits: str
    bit_s: float

    @property
    def length_s(self) -> float:
        """How long the whole code takes [s]."""
        return len(self.bits) * self.bit_s

    @property
    def dark_s(self) -> float:
        """How long it is dark at most on end [s]."""
        return _longest_run(self.bits, "0") * self.bit_s

    @property
    def lit_s(self) -> float:
        """How long it is lit at most on end [s]."""
        return _longest_run(self.bits, "1") * self.bit_s


@dataclass(frozen=True, slots=True)
class Reading:
    """What a light was read to be.

    Attributes
    ----------
    code
        Index of the code, `STEADY` or `ERRATIC`.
    confidence
        Probability of that among all that could be, 0 to 1, each as likely beforehand.
    ratio
        Natural logarithm of its likelihood over that of the next best.
    whole
        Whether the longest code would have been seen once, and the light is lit now. Only then
        can a code be told from a light that went off.
    """

    code: int
    confidence: float
    ratio: float
    whole: bool

    @property
    def sure(self) -> bool:
        """Whether the reading may be relied on."""
        return self.whole and self.confidence >= SURE


class BlinkReader:
    """Reads one light's code, frame by frame.

    Parameters
    ----------
    codes
        All that could be there.
    exposure_s
        Of a frame [s], ≥ 0; shorter than a bit.
    miss, stray
        Chance that a lit light gives no dot in a frame, and that a dark one seems to, in (0, ½).
    """

    def __init__(
        self,
        codes: Sequence[Code],
        exposure_s: float = 0.0,
        miss: float = MISS,
        stray: float = STRAY,
    ) -> None:
        self._length_s = max((code.length_s for code in codes), default=0.0)
        self._miss, self._stray = miss, stray
        self._steps_s = [code.bit_s / _STEPS for code in codes]
        self._shares = [_lit_shares(code, exposure_s) for code in codes]
        self._shares.append(np.ones(1))  # always lit
        self._steps_s.append(1.0)
        self._evidence = [np.zeros(len(share)) for share in self._shares]
        self._failing = [np.full(len(share), FAILS / RECOVERS) for share in self._shares]
        self._erratic = 0.0
        self._first_s = self._last_s = math.nan
        self._lit = False

    def seen(self, time_s: float, lit: bool) -> None:
        """Add one frame.

        Parameters
        ----------
        time_s
            Its time [s], later than the frame before. Frames that cannot tell, because the dot
            was another light's as well, are left out.
        lit
            Whether it showed the light.
        """
        if math.isnan(self._first_s):
            self._first_s = self._last_s = time_s
        faded = math.exp(-(time_s - self._last_s) / (_REMEMBERED * max(self._length_s, 1e-9)))
        since_s = time_s - self._first_s
        for k, shares in enumerate(self._shares):
            shift = round(since_s / self._steps_s[k]) % len(shares)
            share = np.concatenate([shares[shift:], shares[:shift]])
            failing = self._failing[k]
            failing = (1.0 - RECOVERS) * failing + FAILS * (1.0 - failing)
            working = self._stray + (1.0 - self._miss - self._stray) * share
            by_fault = self._stray if lit else 1.0 - self._stray
            by_light = working if lit else 1.0 - working
            likely = failing * by_fault + (1.0 - failing) * by_light
            self._failing[k] = failing * by_fault / likely
            self._evidence[k] = faded * self._evidence[k] + np.log(likely)
        self._erratic = faded * self._erratic - math.log(2.0)
        self._last_s, self._lit = time_s, lit

    def read(self) -> Reading:
        """What the light is by all frames so far."""
        scores = np.array([*map(_mean_of_exp, self._evidence), self._erratic])
        names = [*range(len(self._evidence) - 1), STEADY, ERRATIC]
        best = int(np.argmax(scores))
        likelihood = np.exp(scores - scores[best])
        whole = self._lit and self._last_s - self._first_s >= self._length_s
        return Reading(
            code=names[best],
            confidence=float(1.0 / likelihood.sum()),
            ratio=float(scores[best] - np.partition(scores, -2)[-2]),
            whole=bool(whole),
        )


def _lit_shares(code: Code, exposure_s: float) -> Array:
    """(P,) share of a frame's exposure for which a code is lit, at every phase."""
    fine = 16  # to smooth by the exposure
    lit = np.repeat([bit == "1" for bit in code.bits], _STEPS * fine).astype(float)
    width = max(1, round(exposure_s / code.bit_s * _STEPS * fine))
    window = np.arange(width) - width // 2
    middles = np.arange(len(code.bits) * _STEPS) * fine
    return np.asarray(lit[(middles[:, None] + window) % len(lit)].mean(axis=1))


def _mean_of_exp(values: Array) -> float:
    """Logarithm of the mean of the exponentials."""
    most = float(values.max())
    return most + math.log(float(np.exp(values - most).mean()))


def _longest_run(bits: str, digit: str) -> int:
    """Most equal digits on end, when the bits are repeated for ever."""
    if set(bits) == {digit}:
        return len(bits)
    return max(len(list(run)) if one == digit else 0 for one, run in itertools.groupby(2 * bits))


def codes_of(things: Sequence[Carried]) -> list[Code]:
    """The codes of a rig's things; a thing of several coded lights counts once for each.

    Parameters
    ----------
    things
        In the rig's order.
    """
    return [
        Code(thing.id, light.id, light.code, light.code_bit.value)
        for thing in things
        for light in thing.emitters
        if light.drive == "coded" and light.code is not None and light.code_bit is not None
    ]


def least_difference(one: Code, other: Code) -> float:
    """For how long two codes differ at least while the longer one passes, whatever their phase.

    Parameters
    ----------
    one, other
        Two codes.

    Returns
    -------
    float
        [s]; 0 for codes that only begin at different bits.

    Examples
    --------
    >>> a, b, c = (Code("", "", bits, 0.1) for bits in ("1110", "0111", "1100"))
    >>> least_difference(a, b), round(least_difference(a, c), 6)
    (0.0, 0.1)
    """
    longer_s = max(one.length_s, other.length_s)
    step_s = min(one.bit_s, other.bit_s) / 4.0
    # Over many rounds, so that codes of different lengths meet at every phase.
    moments_s = (np.arange(round(16 * longer_s / step_s)) + 0.5) * step_s
    still = _lit_at(one, moments_s)
    shifts_s = np.arange(round(other.length_s / step_s)) * step_s
    apart = [np.mean(still != _lit_at(other, moments_s + shift_s)) for shift_s in shifts_s]
    return float(min(apart)) * longer_s


def _lit_at(code: Code, time_s: Array) -> Array:
    """Whether a code is lit at times (N,) [s] from its beginning."""
    bits = np.array([bit == "1" for bit in code.bits])
    return np.asarray(bits[np.floor(time_s / code.bit_s).astype(int) % len(bits)])


def check_codes(
    codes: Sequence[Code], frame_rate_hz: float, confirm_frames: int, coast_s: float
) -> list[Finding]:
    """What stands against reading these codes.

    Parameters
    ----------
    codes
        From `codes_of`.
    frame_rate_hz
        Of the camera [Hz].
    confirm_frames
        Frames on end that the linker wants of a new light.
    coast_s
        Longest time that a trail may be kept in the dark [s].
    """
    findings = [
        finding
        for code in codes
        for finding in _check_code(code, frame_rate_hz, confirm_frames, coast_s)
    ]
    for one, other in itertools.combinations(codes, 2):
        if least_difference(one, other) < 0.5 * min(one.bit_s, other.bit_s):
            findings.append(
                Finding(
                    "error",
                    "codes-alike",
                    f"carried {other.carried}: code",
                    f'"{other.bits}"',
                    f'is that of {one.carried}, "{one.bits}", begun at another bit',
                    "choose codes that differ in a bit however they are turned round",
                )
            )
    return findings


def _check_code(
    code: Code, frame_rate_hz: float, confirm_frames: int, coast_s: float
) -> list[Finding]:
    """What stands against a code by itself."""
    where = f"carried {code.carried}: code"
    needed_s = (confirm_frames + 1) / frame_rate_hz
    rules = [
        (
            code.bit_s * frame_rate_hz >= 2.0 - 1e-9,
            "code-bit-short",
            f"has bits of {code.bit_s * 1e3:.0f} ms, under two frames at {frame_rate_hz:g} Hz",
            f"make code_bit at least {2e3 / frame_rate_hz:.0f} ms",
        ),
        (
            len(set(code.bits)) == 2,
            "code-does-not-blink",
            "has only one kind of bit",
            "give it at least one 0 and one 1",
        ),
        (
            code.lit_s >= needed_s - 1e-9,
            "code-lit-short",
            f"is lit for {code.lit_s * 1e3:.0f} ms at most, too short to be seen in"
            f" {confirm_frames} frames on end",
            f"put more 1s together, or make code_bit longer, for {needed_s * 1e3:.0f} ms",
        ),
        (
            code.dark_s <= coast_s,
            "code-dark-long",
            f"is dark for {code.dark_s * 1e3:.0f} ms on end, and a trail is kept for"
            f" {coast_s * 1e3:.0f} ms",
            "put fewer 0s together, or make code_bit shorter",
        ),
    ]
    return [
        Finding("error", slug, where, f'"{code.bits}"', problem, remedy)
        for fits, slug, problem, remedy in rules
        if not fits
    ]


def propose_codes(count: int, longest_dark: int = 1) -> list[str]:
    """Codes that can be told apart: short, mostly lit, two bits from one another and from steady.

    Parameters
    ----------
    count
        How many, 1 to 16.
    longest_dark
        Most bits that may be dark on end, ≥ 1.

    Returns
    -------
    list of str
        As many, all of one length; fewer when 16 bits do not suffice.

    Examples
    --------
    >>> propose_codes(2)
    ['111010', '110110']
    """
    chosen: list[str] = []
    for length in range(4, 17):
        chosen = []
        # From the brightest downward: a lit light is followed better.
        for number in range(2**length - 2, 0, -1):
            bits = f"{number:0{length}b}"
            dark, lit = _longest_run(bits, "0"), _longest_run(bits, "1")
            if dark <= longest_dark and lit >= 2 and _far_from(bits, [*chosen, length * "1"]):
                chosen.append(bits)
                if len(chosen) == count:
                    return chosen
    return chosen


def _far_from(bits: str, chosen: Sequence[str]) -> bool:
    """Whether bits differ from all of these in two places at least, however turned."""
    turns = [bits[k:] + bits[:k] for k in range(len(bits))]
    return all(
        sum(a != b for a, b in zip(turn, other, strict=True)) >= 2
        for other in chosen
        for turn in turns
    )
