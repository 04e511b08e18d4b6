"""The kernel's touch device: packets by a pure function, the device where there is one."""

import os
import time

import pytest

from rushlight.drive import touch
from rushlight.drive.output import Step
from rushlight.drive.touch import TouchOutput, TouchPackets
from rushlight.errors import RushlightError


def step(kind, pointer, x, y):
    return Step(kind, pointer, f"s{pointer}", x, y, 0)


def named(packets):
    ecodes = pytest.importorskip("evdev").ecodes
    names = {0: ecodes.SYN, 1: ecodes.BTN, 3: ecodes.ABS}
    return [[(names[kind][code], value) for kind, code, value in packet] for packet in packets]


def test_the_codes_are_those_of_the_library():
    ecodes = pytest.importorskip("evdev").ecodes
    for name in (
        "EV_SYN", "EV_KEY", "EV_ABS", "SYN_REPORT", "BTN_TOUCH", "ABS_X", "ABS_Y", "ABS_MT_SLOT",
        "ABS_MT_POSITION_X", "ABS_MT_POSITION_Y", "ABS_MT_TRACKING_ID", "INPUT_PROP_DIRECT",
    ):  # fmt: skip
        assert getattr(touch, name) == getattr(ecodes, name), name


def test_places_are_tenths_of_a_millimetre_from_the_top_left(display):
    packets = TouchPackets(display)
    assert packets.greatest == (24000, 15000)
    assert named(packets.packets([step("down", 1, 600.0, 75.0)])) == [
        [
            ("ABS_MT_TRACKING_ID", 1),
            ("ABS_MT_POSITION_X", 12000),
            ("ABS_MT_POSITION_Y", 1500),
            ("BTN_TOUCH", 1),
            ("ABS_X", 12000),
            ("ABS_Y", 1500),
            ("SYN_REPORT", 0),
        ]
    ]


def test_places_beside_the_picture_are_held_at_its_edge(display):
    [packet] = named(TouchPackets(display).packets([step("down", 1, -5.0, 9999.0)]))
    assert ("ABS_MT_POSITION_X", 0) in packet
    assert ("ABS_MT_POSITION_Y", 15000) in packet


def test_nothing_changed_is_nothing_said(display):
    packets = TouchPackets(display)
    packets.packets([step("down", 1, 10.0, 10.0)])
    assert packets.packets([step("move", 1, 10.0, 10.0)]) == []
    assert packets.packets([]) == []
    assert packets.packets([step("up", 2, 0.0, 0.0), step("move", 2, 0.0, 0.0)]) == []


def test_a_press_and_its_end_in_one_frame_are_two_packets(display):
    packets = TouchPackets(display).packets([step("down", 1, 1.0, 1.0), step("up", 1, 1.0, 1.0)])
    assert [packet[-1] for packet in named(packets)] == [("SYN_REPORT", 0)] * 2
    assert named(packets)[1][0] == ("ABS_MT_TRACKING_ID", -1)
    assert ("BTN_TOUCH", 0) in named(packets)[1]


def test_the_single_pointer_follows_the_oldest_contact(display):
    packets = TouchPackets(display)
    packets.packets([step("down", 1, 120.0, 75.0), step("down", 2, 600.0, 75.0)])
    [packet] = named(packets.packets([step("up", 1, 120.0, 75.0)]))
    assert ("ABS_X", 12000) in packet
    assert not [each for each in packet if each[0] == "BTN_TOUCH"]


def test_slots_are_used_anew_and_an_eleventh_contact_is_left_out(display):
    packets = TouchPackets(display)
    packets.packets([step("down", n, 10.0 * n, 10.0) for n in range(1, 12)])
    assert packets.left_out == 1
    assert packets.packets([step("move", 11, 50.0, 50.0)]) == []
    packets.packets([step("up", 3, 30.0, 10.0)])
    [packet] = named(packets.packets([step("down", 11, 50.0, 50.0)]))
    assert packet[0] == ("ABS_MT_TRACKING_ID", 11)  # slot 2 is current since the lift


def test_state_kept_by_the_receiver_is_the_state_meant(display):
    """A receiver that keeps slots as the protocol tells, against what the steps said."""
    import random

    draw = random.Random(5)
    packets, down = TouchPackets(display), {}
    slot, slots, touching = 0, {}, 0
    for turn in range(500):
        steps = []
        for pointer in draw.sample(range(1, 7), 3):
            x, y = draw.randrange(1200), draw.randrange(750)
            if pointer not in down:
                steps.append(step("down", pointer, x, y))
                down[pointer] = (x, y)
            elif draw.random() < 0.3:
                steps.append(step(draw.choice(["up", "cancel"]), pointer, *down.pop(pointer)))
            else:
                steps.append(step("move", pointer, x, y))
                down[pointer] = (x, y)
        for packet in packets.packets(steps):
            for kind, code, value in packet:
                if code == touch.ABS_MT_SLOT:
                    slot = value
                elif code == touch.ABS_MT_TRACKING_ID:
                    slots.pop(slot, None)
                    if value >= 0:
                        slots[slot] = {}
                elif code in (touch.ABS_MT_POSITION_X, touch.ABS_MT_POSITION_Y):
                    slots[slot][code] = value
                elif kind == touch.EV_KEY:
                    touching = value
        assert sorted(tuple(each.values()) for each in slots.values()) == sorted(
            (20 * x, 20 * y) for x, y in down.values()
        ), turn
        assert touching == bool(down)


def test_a_missing_device_is_told_in_one_sentence(display):
    pytest.importorskip("evdev")
    if os.access(touch.DEVICE, os.W_OK):
        pytest.skip("there is a device here; the next test uses it")
    with pytest.raises(RushlightError) as refused:
        TouchOutput(display)
    told = str(refused.value)
    assert told.startswith("output touch = /dev/uinput ")
    assert "ask whoever keeps this computer" in told


def test_a_device_without_permission_is_told_with_the_rule_to_ask_for(
    display, tmp_path, monkeypatch
):
    pytest.importorskip("evdev")
    monkeypatch.setattr(touch, "DEVICE", str(tmp_path / "uinput"))
    (tmp_path / "uinput").touch()
    monkeypatch.setattr(os, "access", lambda *_: False)  # root may write anything
    with pytest.raises(RushlightError, match=r'GROUP="input".*can read every key pressed'):
        TouchOutput(display)


def test_the_kernel_reads_back_what_was_written(display, make):
    if not os.access(touch.DEVICE, os.W_OK):
        pytest.skip("no /dev/uinput that may be written: THE TOUCH DEVICE ITSELF IS NOT TRIED")
    evdev = pytest.importorskip("evdev")
    output = TouchOutput(display)
    time.sleep(0.5)  # the system takes a while to show a new device
    device = evdev.InputDevice(output._device.device.path)
    output.put(make.results(0, 0), [step("down", 1, 600.0, 75.0), step("down", 2, 0.0, 750.0)])
    time.sleep(0.1)
    read = [(event.type, event.code, event.value) for event in device.read()]
    assert (touch.EV_ABS, touch.ABS_MT_POSITION_X, 12000) in read
    assert (touch.EV_ABS, touch.ABS_MT_POSITION_Y, 15000) in read
    output.close()
