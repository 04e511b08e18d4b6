"""Cameras of this computer, up to the driver.

No camera was at hand: a recording stand-in takes the place of the library's open camera, answers
as drivers do, and keeps what was asked. Only the reading of a file goes through the library itself.
"""

import io
import json
import math
import os
import stat
import threading

import cv2
import numpy as np
import pytest
from PIL import Image

from rushlight.capture.device import DeviceFeed, device_place
from rushlight.capture.devices import list_cameras, missing_camera
from rushlight.capture.live import LiveFrames
from rushlight.capture.open_live import open_live
from rushlight.capture.settings import CameraSettings, settings_of
from rushlight.errors import RushlightError
from rushlight.opencv.video import Device, jpeg_in_grey, raw_in_grey
from rushlight.records.rig import Camera

SIZE_PX = (64, 48)


class StandIn:
    """Stands for an open camera: a property keeps what it is set to, unless it is held."""

    def __init__(self, pictures, format="YUYV", held=None, stamps_ms=None):
        self.pictures, self.asked, self.released = list(pictures), [], False
        self.held = {cv2.CAP_PROP_FOURCC: float(cv2.VideoWriter_fourcc(*format))} | (held or {})
        self.kept = {cv2.CAP_PROP_FRAME_WIDTH: SIZE_PX[0], cv2.CAP_PROP_FRAME_HEIGHT: SIZE_PX[1]}
        self.stamps_ms = stamps_ms
        self.number = 0

    def isOpened(self):
        return True

    def release(self):
        self.released = True

    def set(self, prop, value):
        self.asked.append((prop, value))
        self.kept[prop] = value
        return True

    def get(self, prop):
        if prop == cv2.CAP_PROP_POS_MSEC and self.stamps_ms is not None:
            return self.stamps_ms[self.number - 1]
        return self.held.get(prop, self.kept.get(prop, 0.0))

    def read(self):
        if self.number == len(self.pictures):
            return False, None
        self.number += 1
        return True, self.pictures[self.number - 1]


def grey(number=0):
    return np.random.default_rng(number).integers(16, 236, SIZE_PX[::-1], dtype=np.uint8)


def yuyv(image):
    """Luma in every other byte, colour between."""
    return np.stack([image, np.full_like(image, 128)], axis=-1)


def as_jpeg(image):
    file = io.BytesIO()
    Image.fromarray(image).save(file, "jpeg", quality=95)
    return np.frombuffer(file.getvalue(), np.uint8)


def read_all(stand_in, settings=None, v4l2=True):
    """All arrivals of one opening, and the feed."""
    feed = DeviceFeed(
        0, "camera:0", settings or CameraSettings(), lambda place: Device(stand_in, v4l2)
    )
    arrivals = []
    with pytest.raises(Exception, match="gives no more pictures"):
        arrivals.extend(feed.arrivals(threading.Event()))
    return arrivals, feed


def rig_camera(**fields):
    given = {
        "id": "beam",
        "part": "webcam-720p",
        "position": ("0 m", "0 m", "2 m"),
        "look_at": ("0 m", "0 m", "0 m"),
        "frame_rate": "60 Hz",
        "exposure": "4 ms",
        "gain": 2.0,
    }
    return Camera(**(given | fields))


def test_a_camera_is_asked_for_what_the_rig_says_in_the_drivers_units():
    stand_in = StandIn([yuyv(grey())])
    settings = settings_of(rig_camera(), size_px=SIZE_PX)
    (arrival,), feed = read_all(stand_in, settings)
    assert stand_in.asked == [
        (cv2.CAP_PROP_CONVERT_RGB, 0.0),
        (cv2.CAP_PROP_FOURCC, float(cv2.VideoWriter_fourcc(*"YUYV"))),
        (cv2.CAP_PROP_FRAME_WIDTH, 64.0),
        (cv2.CAP_PROP_FRAME_HEIGHT, 48.0),
        (cv2.CAP_PROP_FPS, 60.0),
        (cv2.CAP_PROP_AUTO_EXPOSURE, 1.0),
        (cv2.CAP_PROP_EXPOSURE, 40.0),  # of 100 µs
        (cv2.CAP_PROP_GAIN, 2.0),
        (cv2.CAP_PROP_AUTOFOCUS, 0.0),
    ]
    assert np.array_equal(arrival.image, grey())
    assert feed.findings == []
    assert stand_in.released


def test_other_systems_count_exposure_in_powers_of_two():
    stand_in = StandIn([yuyv(grey())])
    read_all(stand_in, CameraSettings(exposure_s=1 / 256), v4l2=False)
    assert (cv2.CAP_PROP_AUTO_EXPOSURE, 0.25) in stand_in.asked
    assert (cv2.CAP_PROP_EXPOSURE, -8.0) in stand_in.asked
    assert Device(stand_in, v4l2=False).exposure_s() == 1 / 256


def test_what_the_driver_sets_otherwise_is_told():
    held = {
        cv2.CAP_PROP_EXPOSURE: 100.0,
        cv2.CAP_PROP_FPS: 30.0,
        cv2.CAP_PROP_GAIN: 16.0,
        cv2.CAP_PROP_FRAME_WIDTH: 640.0,
        cv2.CAP_PROP_FRAME_HEIGHT: 480.0,
        cv2.CAP_PROP_AUTOFOCUS: 1.0,
    }
    big = np.zeros((480, 640), np.uint8)
    settings = settings_of(rig_camera(), size_px=(1280, 720))
    _, feed = read_all(StandIn([yuyv(big)], "YUYV", held), settings)
    assert [str(finding) for finding in feed.findings] == [
        "camera:0: size = 1280×720 px was asked for, and the camera says 640×480 px; "
        "choose a part of that size in the rig, or another camera.",
        "camera:0: frame rate = 60 Hz was asked for, and the camera says 30 Hz; "
        'write frame_rate = "30 Hz" in the rig, or ask for a smaller picture.',
        "camera:0: exposure = 4 ms was asked for, and the camera says 10 ms; "
        'write exposure = "10 ms" in the rig, and plan anew.',
        "camera:0: gain = 2 was asked for, and the camera says 16; take its numbers as the "
        "driver's own, and learn the noise from a dark picture.",
        "camera:0: focus still moves by itself, which shifts every dot; switch off its autofocus.",
    ]


@pytest.mark.parametrize(
    ("held", "code"),
    [
        ({cv2.CAP_PROP_AUTO_EXPOSURE: 3.0}, "camera-auto-exposure"),
        ({cv2.CAP_PROP_EXPOSURE: -1.0}, "camera-exposure-untold"),
    ],
)
def test_an_exposure_that_cannot_be_set_is_told(held, code):
    settings = settings_of(rig_camera(exposure="auto"), exposure_s=0.004)
    _, feed = read_all(StandIn([yuyv(grey())], "YUYV", held), settings)
    assert [finding.code for finding in feed.findings] == [code]


@pytest.mark.parametrize(
    ("stream", "format", "codes"),
    [
        (None, "YUYV", []),
        (None, "GREY", []),
        (None, "MJPG", ["camera-format"]),
        ({"codec": "mjpeg", "quality": 5}, "MJPG", []),
        ({"codec": "h264", "quality": 20}, "MJPG", ["camera-format"]),
    ],
)
def test_a_compressed_picture_is_told_where_the_rig_says_raw(stream, format, codes):
    picture = as_jpeg(grey()) if format == "MJPG" else grey() if format == "GREY" else yuyv(grey())
    (arrival,), feed = read_all(
        StandIn([picture], format), settings_of(rig_camera(stream=stream), size_px=SIZE_PX)
    )
    assert [finding.code for finding in feed.findings] == codes
    assert arrival.image.shape == SIZE_PX[::-1]


@pytest.mark.parametrize(
    ("raw", "code"),
    [
        (yuyv(grey()), "YUYV"),
        (yuyv(grey()).reshape(1, -1), "YUYV"),
        (yuyv(grey())[..., ::-1], "UYVY"),
        (grey(), "GREY"),
        (grey().reshape(1, -1), "GREY"),
        (np.concatenate([grey().ravel(), np.full(64 * 24, 128, np.uint8)]), "NV12"),
        (np.repeat(grey()[..., None], 3, axis=-1), "BGR3"),
    ],
)
def test_every_form_of_picture_gives_its_luma(raw, code):
    assert np.array_equal(raw_in_grey(raw, code, SIZE_PX), grey())


def test_deep_pictures_stay_deep():
    deep = grey().astype(np.uint16) * 4
    assert np.array_equal(raw_in_grey(deep, "Y16", SIZE_PX), deep)
    assert np.array_equal(raw_in_grey(deep.view(np.uint8), "Y10", SIZE_PX), deep)
    (arrival,), feed = read_all(StandIn([deep], "Y16 "), CameraSettings(bits=10))
    assert arrival.image.dtype == np.uint16
    assert feed.findings == []
    _, feed = read_all(StandIn([yuyv(grey())]), CameraSettings(bits=10))
    assert [finding.code for finding in feed.findings] == ["camera-depth"]


def test_what_is_no_picture_is_none():
    assert jpeg_in_grey(b"") is None
    assert jpeg_in_grey(b"no picture") is None
    assert raw_in_grey(np.zeros(7, np.uint8), "YUYV", SIZE_PX) is None
    assert raw_in_grey(np.zeros((48, 64), np.float32), "GREY", SIZE_PX) is None


def test_a_damaged_picture_counts_as_lost_and_too_many_as_a_break():
    good, bad = as_jpeg(grey()), np.frombuffer(b"rubbish", np.uint8)
    settings = CameraSettings(codec="mjpeg")
    arrivals, _ = read_all(StandIn([good, bad, bad, good], "MJPG"), settings)
    assert [arrival.lost for arrival in arrivals] == [0, 2]
    feed = DeviceFeed(
        0, "camera:0", settings, lambda place: Device(StandIn([bad] * 40, "MJPG"), True)
    )
    with pytest.raises(Exception, match=r"cannot be decoded \(MJPG\)"):
        list(feed.arrivals(threading.Event()))


def test_the_drivers_stamps_make_times_even():
    stamps_ms = [5e6 + 20.0 * k for k in range(5)]
    arrivals, feed = read_all(StandIn([yuyv(grey())] * 5, stamps_ms=stamps_ms))
    steps_ns = np.diff([arrival.capture_ns for arrival in arrivals])
    assert ((steps_ns >= 16_000_000 - 1) & (steps_ns <= 24_000_000)).all()
    assert feed.times == "the driver's stamps, on the host's clock"


def test_a_file_through_the_library_itself_and_a_reader_that_opens_it_again(tmp_path, pictures):
    path = str(tmp_path / "clip.avi")
    writer = cv2.VideoWriter(path, cv2.VideoWriter_fourcc(*"FFV1"), 30.0, SIZE_PX)
    for picture in pictures:
        writer.write(np.repeat(picture[..., None], 3, axis=-1))
    writer.release()
    feed = DeviceFeed(
        0,
        "camera:0",
        CameraSettings(),
        lambda place: Device(cv2.VideoCapture(path, cv2.CAP_FFMPEG), v4l2=False),
    )
    seen = []
    with LiveFrames(feed).open() as source:
        for frame in source:
            seen.append(frame)
            if source.reconnects == 2:
                break
    # Which of them are taken depends on the moment: each is one of the twelve.
    for frame in seen:
        off = np.abs(pictures.astype(int) - frame.image).max(axis=(1, 2))
        assert off.min() <= 2


def test_a_camera_that_is_missing_is_told_in_one_sentence(tmp_path):
    with pytest.raises(RushlightError) as caught:
        open_live("camera:9")
    said = str(caught.value)
    assert said.startswith("camera:9 is not there; ")
    assert said.count("\n") == 0
    (tmp_path / "video0").touch()
    names = tmp_path / "names" / "video0"
    names.mkdir(parents=True)
    (names / "name").write_text("Plain webcam\n")
    error = missing_camera(9, "camera:9", devices=tmp_path, names=tmp_path / "names")
    assert str(error) == "camera:9 is not there; use one of camera:0 (Plain webcam)."
    error = missing_camera(0, "camera:0", devices=tmp_path, names=tmp_path / "names")
    assert str(error).startswith("camera:0 is there and gives no pictures; close other programs")
    with pytest.raises(RushlightError, match="is neither a number nor a path; give one such as"):
        device_place("front")
    assert (device_place("2"), device_place("/dev/video2")) == (2, "/dev/video2")


def test_cameras_are_listed_with_their_names_and_what_they_tell(tmp_path):
    for number in (10, 2):
        (tmp_path / f"video{number}").touch()
    (tmp_path / "videodisc").touch()
    names = tmp_path / "names" / "video2"
    names.mkdir(parents=True)
    (names / "name").write_text("Plain webcam\n")
    stand_in = StandIn([], "MJPG", {cv2.CAP_PROP_FPS: 30.0})

    def opener(place):
        return Device(stand_in, True) if place.endswith("video2") else None

    listed = list_cameras(devices=tmp_path, names=tmp_path / "names", opener=opener)
    first, second = listed.cameras
    assert (first.source, first.name, first.pictures) == ("camera:2", "Plain webcam", True)
    assert (first.size_px, first.rate_hz, first.format) == (SIZE_PX, 30.0, "MJPG")
    assert (second.source, second.pictures, second.size_px) == ("camera:10", False, None)
    assert math.isnan(second.rate_hz)
    assert stand_in.released
    assert (
        json.loads(json.dumps(listed.as_dict(), allow_nan=False))["cameras"][1]["rate_hz"] is None
    )
    assert listed.findings == ()


def test_no_camera_at_all_is_told(tmp_path):
    listed = list_cameras(devices=tmp_path)
    assert listed.cameras == ()
    assert str(listed.findings[0]) == (
        "cameras were looked for, and this computer has none; "
        "plug one in, or give the address of a network camera."
    )


def test_a_camera_that_may_not_be_opened_names_the_group(tmp_path, monkeypatch):
    path = tmp_path / "video0"
    path.touch(mode=stat.S_IRUSR)
    monkeypatch.setattr(os, "access", lambda place, mode: False)  # root may open anything
    listed = list_cameras(devices=tmp_path)
    assert [finding.code for finding in listed.findings] == ["camera-not-allowed"]
    assert 'add the user to the group "video"' in str(listed.findings[0])
    assert "may not be opened" in str(missing_camera(0, "camera:0", devices=tmp_path))
