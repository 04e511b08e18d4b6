"""A touch device of the Linux kernel, with one slot a stylus.

Packets follow the kernel's multi-touch protocol, type B. Source: Linux kernel 6.1,
Documentation/input/multi-touch-protocol.rst, "Protocol Example B" and "Event Usage";
Documentation/input/event-codes.rst for BTN_TOUCH and INPUT_PROP_DIRECT (from memory).
Positions are in tenths of a millimetre on the surface, so that the axes' resolution, which is
given in whole units a millimetre, is exact on a surface of any size.
"""

from __future__ import annotations

import os
import time
from collections.abc import Iterable, Sequence
from typing import Any

from rushlight.drive.output import NOT_SENT, Display, Results, Step
from rushlight.errors import Finding, RushlightError

EV_SYN, EV_KEY, EV_ABS = 0x00, 0x01, 0x03
SYN_REPORT = 0x00
BTN_TOUCH = 0x14A
ABS_X, ABS_Y = 0x00, 0x01
ABS_MT_SLOT, ABS_MT_POSITION_X, ABS_MT_POSITION_Y, ABS_MT_TRACKING_ID = 0x2F, 0x35, 0x36, 0x39
INPUT_PROP_DIRECT = 0x01
"""Codes of Linux, include/uapi/linux/input-event-codes.h; a test compares them with evdev's."""

SLOTS = 10
"""Contacts at a time; no source."""

UNITS_PER_MM = 10

GREATEST_TRACKING_ID = 0xFFFF
"""After which ids begin anew; the kernel's own drivers do the same (from memory)."""

DEVICE = "/dev/uinput"

Event = tuple[int, int, int]
"""Type, code and value of one input event."""


class TouchPackets:
    """Turns steps into input events, and remembers what the receiver knows.

    A place outside the picture is held at its edge, for an absolute axis has no beyond. A
    pointer for which no slot is free is left out until it comes down anew.

    Parameters
    ----------
    display
        Whose pixels the steps are in.

    Attributes
    ----------
    greatest
        Greatest value of the two axes [0.1 mm].
    left_out
        Times that no slot was free.
    """

    def __init__(self, display: Display) -> None:
        width_m, height_m = display.size_m
        self.greatest = (round(width_m * 1e3 * UNITS_PER_MM), round(height_m * 1e3 * UNITS_PER_MM))
        self.left_out = 0
        self._pixels = display.pixels
        self._slot_of: dict[int, int] = {}
        self._place: dict[int, tuple[int, int]] = {}
        self._slot = 0
        self._next_id = 0
        self._shown: tuple[int, int] | None = None

    def packets(self, steps: Iterable[Step]) -> list[list[Event]]:
        """Input events by packet, each ended by SYN_REPORT.

        Parameters
        ----------
        steps
            In order. Those of different pointers share a packet; a second one of the same
            pointer begins the next, so that no change is swallowed.
        """
        packets: list[list[Event]] = []
        sharing: list[Step] = []
        for step in steps:
            if any(step.pointer == other.pointer for other in sharing):
                packets += self._packet(sharing)
                sharing = []
            sharing.append(step)
        return packets + self._packet(sharing)

    def _packet(self, steps: list[Step]) -> list[list[Event]]:
        """One packet, or none where nothing changes."""
        before = bool(self._slot_of)
        events = [event for step in steps for event in self._contact(step)]
        after = bool(self._slot_of)
        if before != after:
            events.append((EV_KEY, BTN_TOUCH, int(after)))
        events += self._single()
        return [[*events, (EV_SYN, SYN_REPORT, 0)]] if events else []

    def _contact(self, step: Step) -> list[Event]:
        """What changes in one contact's slot."""
        slot = self._slot_of.get(step.pointer)
        if step.kind in ("up", "cancel"):
            if slot is None:
                return []
            del self._slot_of[step.pointer], self._place[slot]
            return [*self._select(slot), (EV_ABS, ABS_MT_TRACKING_ID, -1)]
        x, y = self._units(step)
        if step.kind == "down":
            free = sorted(set(range(SLOTS)) - set(self._slot_of.values()))
            if not free:
                self.left_out += 1
                return []
            slot = self._slot_of[step.pointer] = free[0]
            self._place[slot] = (x, y)
            self._next_id = (self._next_id + 1) & GREATEST_TRACKING_ID
            return [
                *self._select(slot),
                (EV_ABS, ABS_MT_TRACKING_ID, self._next_id),
                (EV_ABS, ABS_MT_POSITION_X, x),
                (EV_ABS, ABS_MT_POSITION_Y, y),
            ]
        if slot is None or self._place[slot] == (x, y):
            return []
        old, self._place[slot] = self._place[slot], (x, y)
        changed: list[Event] = []
        if x != old[0]:
            changed.append((EV_ABS, ABS_MT_POSITION_X, x))
        if y != old[1]:
            changed.append((EV_ABS, ABS_MT_POSITION_Y, y))
        return [*self._select(slot), *changed]

    def _single(self) -> list[Event]:
        """The oldest contact on the plain axes, for programs that know one pointer only."""
        if not self._slot_of:
            return []
        place = self._place[next(iter(self._slot_of.values()))]
        if place == self._shown:
            return []
        self._shown = place
        return [(EV_ABS, ABS_X, place[0]), (EV_ABS, ABS_Y, place[1])]

    def _select(self, slot: int) -> list[Event]:
        """Turn to a slot, unless the receiver is there already."""
        if slot == self._slot:
            return []
        self._slot = slot
        return [(EV_ABS, ABS_MT_SLOT, slot)]

    def _units(self, step: Step) -> tuple[int, int]:
        """Place on the axes, held at the edges."""
        shares = (step.x_px / self._pixels[0], step.y_px / self._pixels[1])
        x, y = (
            round(min(max(share, 0.0), 1.0) * most)
            for share, most in zip(shares, self.greatest, strict=True)
        )
        return x, y


class TouchOutput:
    """A touch device that the whole desktop sees.

    Parameters
    ----------
    display
        Whose pixels the steps are in.

    Raises
    ------
    RushlightError
        When the library, the device or the permission is missing, with what to do.
    """

    name = "touch"

    def __init__(self, display: Display) -> None:
        self.sent = self.lost = 0
        self.findings: list[Finding] = []
        self._packets = TouchPackets(display)
        self._device = _create(self._packets.greatest)

    def put(self, results: Results, steps: Sequence[Step]) -> int:
        """Write the steps to the kernel; see `output.Output`."""
        packets = self._packets.packets(steps)
        if self._device is None or not packets:
            return NOT_SENT
        try:
            for packet in packets:
                for event in packet:
                    self._device.write(*event)
        except OSError as error:
            self.lost += 1
            self._device = None
            self.findings.append(
                Finding(
                    "warning",
                    "output-ended",
                    "output touch",
                    "",
                    f"is off from here on: the kernel refused an event ({error.strerror})",
                    "start the run anew",
                )
            )
            return NOT_SENT
        self.lost = self._packets.left_out
        self.sent += len(packets)
        return time.monotonic_ns()

    def close(self) -> None:
        """Remove the device."""
        if self._device is not None:
            self._device.close()
            self._device = None


def _create(greatest: tuple[int, int]) -> Any:
    """The kernel's device, or a sentence."""
    try:
        from evdev import AbsInfo, UInput
        from evdev.uinput import UInputError
    except ImportError:
        raise RushlightError.of(
            "output touch",
            "",
            "needs the library evdev, which is there for Linux only and not installed",
            "install the extra: pip install 'rushlight[touch]'",
            "touch-library",
        ) from None

    def axis(most: int, resolution: int = 0) -> AbsInfo:
        return AbsInfo(0, 0, most, 0, 0, resolution)

    axes: Any = [
        (ABS_X, axis(greatest[0], UNITS_PER_MM)),
        (ABS_Y, axis(greatest[1], UNITS_PER_MM)),
        (ABS_MT_SLOT, axis(SLOTS - 1)),
        (ABS_MT_POSITION_X, axis(greatest[0], UNITS_PER_MM)),
        (ABS_MT_POSITION_Y, axis(greatest[1], UNITS_PER_MM)),
        (ABS_MT_TRACKING_ID, axis(GREATEST_TRACKING_ID)),
    ]
    try:
        return UInput(
            {EV_ABS: axes, EV_KEY: [BTN_TOUCH]},
            name="Rushlight styli",
            input_props=[INPUT_PROP_DIRECT],
            devnode=DEVICE,
        )
    except (UInputError, OSError) as error:
        raise _refused(error) from None


def _refused(error: Exception) -> RushlightError:
    """Why there is no device, and what to ask of whom."""
    if not os.path.exists(DEVICE):
        return RushlightError.of(
            "output touch",
            DEVICE,
            "is not there: the kernel's module uinput is not loaded, or this is a container",
            "ask whoever keeps this computer to load the module uinput",
            "touch-device",
        )
    if not os.access(DEVICE, os.W_OK):
        return RushlightError.of(
            "output touch",
            DEVICE,
            "may not be written by you",
            "ask whoever keeps this computer for a udev rule "
            '(KERNEL=="uinput", GROUP="input", MODE="0660", OPTIONS+="static_node=uinput") and to '
            "add you to the group input; members of it can read every key pressed, so choose them",
            "touch-permission",
        )
    return RushlightError.of(
        "output touch", DEVICE, f"refused ({error})", "leave this output out", "touch-device"
    )
