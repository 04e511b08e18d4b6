"""Footage of every form: frames, times, and one clear sentence where it cannot be read."""

import json
import math

import numpy as np
import pytest
from PIL import Image

from rushlight.capture import open_footage
from rushlight.capture.pictures import natural_key
from rushlight.errors import RushlightError
from rushlight.records.session import FootageHeader


def sidecar(folder, times_ns, size_px=(64, 48), picture="footage.mkv", name="footage.json"):
    header = FootageHeader(
        picture=picture,
        camera="beam",
        size_px=size_px,
        capture_ns=times_ns,
        exposure_ns=4_000_000,
        simulated=True,
    )
    header.stamped("simulated").write(folder / name)
    return folder / name


def sentence(path, **settings):
    with pytest.raises(RushlightError) as caught:
        list(open_footage(path, **settings))
    return str(caught.value)


def save(folder, pictures, name="image{}.png"):
    for number, picture in enumerate(pictures):
        Image.fromarray(picture).save(folder / name.format(number))


def test_simulated_footage_comes_back_bit_for_bit_with_the_times_of_its_sidecar(
    tmp_path, pictures, write_video
):
    write_video(tmp_path / "footage.mkv", pictures)
    times_ns = [8_333_333 * k + 7 for k in range(1, 13)]
    sidecar(tmp_path, times_ns)
    for path in (tmp_path, tmp_path / "footage.json", tmp_path / "footage.mkv"):
        footage = open_footage(path)
        for _ in range(2):  # it can be read again
            frames = list(footage)
            assert [frame.capture_ns for frame in frames] == times_ns
            assert [frame.index for frame in frames] == list(range(12))
            assert np.array_equal([frame.image for frame in frames], pictures)
        assert {frame.camera for frame in frames} == {"beam"}
        assert (footage.simulated, footage.frames, footage.size_px) == (True, 12, (64, 48))
        assert footage.findings == []


@pytest.mark.parametrize(("times", "followed"), [(14, 12), (10, 10)])
def test_a_sidecar_of_another_length_is_told(tmp_path, pictures, write_video, times, followed):
    write_video(tmp_path / "footage.mkv", pictures)
    sidecar(tmp_path, [10**7 * k for k in range(times)])
    footage = open_footage(tmp_path)
    assert len(list(footage)) == followed
    (finding,) = footage.findings
    assert (finding.severity, finding.code) == ("warning", "frame-count")
    assert f"{times} times" in str(finding)
    assert "12" in str(finding)


def test_a_sidecar_is_refused_where_it_does_not_fit(tmp_path, pictures, write_video):
    sidecar(tmp_path, [1, 2])
    assert '"footage.mkv" does not lie beside it' in sentence(tmp_path)
    write_video(tmp_path / "footage.mkv", pictures)
    sidecar(tmp_path, [10, 10])
    assert sentence(tmp_path) == (
        "footage.json: capture_ns[1] = 10 is not after the frame before it; give rising times."
    )
    sidecar(tmp_path, [1, 2], size_px=(65, 48))
    assert "65×48 is not the video's 64×48 px" in sentence(tmp_path)
    sidecar(tmp_path, [1, 2], picture="../footage.mkv")
    assert "is not the name of a file beside it" in sentence(tmp_path)
    sidecar(tmp_path, [1, 2])
    assert "so a rate cannot be chosen" in sentence(tmp_path, rate_hz=30.0)


def test_a_strangers_json_beside_a_video_is_passed_over(tmp_path, pictures, write_video):
    path = write_video(tmp_path / "clip.mkv", pictures)
    (tmp_path / "clip.json").write_text(json.dumps({"made": "elsewhere"}))
    assert open_footage(path).header is None


def test_a_video_from_anywhere_keeps_its_uneven_times(tmp_path, pictures, write_video):
    times_ms = [0, 10, 25, 31, 60, 61, 70, 95, 100, 130, 131, 140]
    footage = open_footage(write_video(tmp_path / "clip.mkv", pictures, times_ms))
    frames = list(footage)
    assert [frame.capture_ns for frame in frames] == [1_000_000 * ms for ms in times_ms]
    assert np.array_equal([frame.image for frame in frames], pictures)
    assert (footage.simulated, footage.times) == (False, "from the video")
    assert math.isnan(frames[0].capture_std_ns)


def test_a_rate_counts_the_times_of_a_video(tmp_path, pictures, write_video):
    footage = open_footage(write_video(tmp_path / "clip.mkv", pictures), rate_hz=60.0)
    assert [frame.capture_ns for frame in footage][:3] == [0, 16_666_667, 33_333_333]
    assert footage.times == "counted at 60 Hz"


def test_the_limited_levels_of_a_colour_video_are_stretched_to_all_of_grey(tmp_path, write_video):
    ramp = np.repeat(np.linspace(0, 255, 64).astype(np.uint8)[None], 48, axis=0)
    path = write_video(tmp_path / "clip.mkv", [ramp, ramp], codec="ffv1", pixels="yuv420p")
    image = next(iter(open_footage(path))).image
    assert np.abs(image.astype(int) - ramp).max() <= 2


def test_deep_videos_are_scaled_with_a_note(tmp_path, write_video):
    deep = np.repeat(np.linspace(0, 65535, 64).astype(np.uint16)[None], 48, axis=0)
    footage = open_footage(
        write_video(tmp_path / "clip.mkv", [deep, deep], codec="ffv1", pixels="gray16le")
    )
    images = [frame.image for frame in footage]
    assert images[0].dtype == np.uint8
    assert np.abs(images[0] * 257.0 - deep).max() <= 129
    assert [finding.code for finding in footage.findings] == ["scaled-to-8-bits"]


def test_what_is_no_video_is_refused(tmp_path, pictures, write_video):
    assert "does not exist" in sentence(tmp_path / "nothing.mkv")
    (tmp_path / "notes.mkv").write_text("a shopping list")
    assert "is not a video that can be read" in sentence(tmp_path / "notes.mkv")
    path = write_video(tmp_path / "clip.mkv", pictures)
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) // 2])
    assert len(list(open_footage(path))) < 12
    Image.fromarray(pictures[0]).save(tmp_path / "one.png")
    assert "is a single picture; give the folder" in sentence(tmp_path / "one.png")
    assert 'give one such as "30 Hz"' in sentence(path, rate_hz=-1.0)


def test_a_sound_file_holds_no_video(tmp_path):
    import av

    with av.open(str(tmp_path / "voice.wav"), "w") as container:
        stream = container.add_stream("pcm_s16le", rate=8000)
        frame = av.AudioFrame.from_ndarray(np.zeros((1, 800), np.int16), layout="mono")
        frame.sample_rate = 8000
        container.mux(stream.encode(frame))
        container.mux(stream.encode())
    assert "holds no video stream" in sentence(tmp_path / "voice.wav")


@pytest.mark.parametrize("ending", ["png", "pgm", "tif"])
def test_a_folder_of_pictures_is_read_as_people_count(tmp_path, pictures, ending):
    save(tmp_path, pictures, "image{}." + ending)
    (tmp_path / "notes.txt").write_text("held at dusk")
    (tmp_path / ".hidden.png").write_bytes(b"")
    footage = open_footage(tmp_path, camera="beam")
    frames = list(footage)
    assert np.array_equal([frame.image for frame in frames], pictures)
    assert [frame.capture_ns for frame in frames][:3] == [0, 33_333_333, 66_666_667]
    assert [finding.code for finding in footage.findings] == ["rate-assumed"]
    assert (footage.camera, footage.frames) == ("beam", 12)
    assert open_footage(tmp_path, rate_hz=50.0).findings == []


def test_a_change_of_pictures_changes_the_hash(tmp_path, pictures):
    save(tmp_path, pictures)
    before = open_footage(tmp_path).content_hash
    assert before == open_footage(tmp_path).content_hash
    Image.fromarray(pictures[1]).save(tmp_path / "image3.png")
    assert open_footage(tmp_path).content_hash != before


def test_deep_pictures_are_scaled_with_a_note(tmp_path):
    deep = (np.arange(48 * 64).reshape(48, 64) * 21).astype(np.uint16)
    Image.fromarray(deep).save(tmp_path / "a.png")
    header = b"P5 64 48 65535\n"
    (tmp_path / "b.pgm").write_bytes(header + deep.astype(">u2").tobytes())
    footage = open_footage(tmp_path, rate_hz=10.0)
    first, second = [frame.image for frame in footage]
    assert np.array_equal(first, second)
    assert np.abs(first * 257.0 - deep).max() <= 129
    assert [finding.code for finding in footage.findings] == ["scaled-to-8-bits"]


def test_folders_that_cannot_be_read_say_why(tmp_path, pictures):
    assert sentence(tmp_path) == (
        f"{tmp_path} is empty; give a folder of PGM, PNG, JPEG or TIFF pictures, or a video file."
    )
    (tmp_path / "notes.txt").write_text("held at dusk")
    assert "holds neither a footage.json nor pictures" in sentence(tmp_path)
    save(tmp_path, pictures[:3])
    Image.fromarray(pictures[0][:40]).save(tmp_path / "image9.png")
    assert sentence(tmp_path, rate_hz=30.0) == (
        f"{tmp_path / 'image9.png'} = 64×40 px is not of the size of the first, 64×48 px; "
        "keep pictures of one size in a folder."
    )
    (tmp_path / "image1.png").write_bytes(b"not a picture")
    assert sentence(tmp_path) == (
        f"{tmp_path / 'image1.png'} is not a picture that can be read; "
        "replace it, or take it out of the folder."
    )


def test_natural_order_copes_with_any_names():
    names = ["b2", "b10", "b1", "10", "9", "B3", "b"]
    assert sorted(names, key=natural_key) == ["9", "10", "b", "b1", "b2", "B3", "b10"]


def test_a_video_whose_times_stand_still_asks_for_a_rate(tmp_path, pictures, write_video):
    path = write_video(tmp_path / "clip.mkv", pictures[:3], [0, 10, 10])
    assert sentence(path) == (
        f"{path}: frame 2 = time 0.0100 s does not follow the frame before; "
        'count the times instead, with --rate "30 Hz" or so.'
    )
    footage = open_footage(path, rate_hz=25.0)
    assert [frame.capture_ns for frame in footage] == [0, 40_000_000, 80_000_000]


def test_a_video_from_anywhere_counts_as_filmed(tmp_path, pictures, write_video):
    assert not open_footage(write_video(tmp_path / "film.mkv", pictures)).simulated


def save_greymap(path, levels, full_scale):
    header = b"P5\n# held at dusk\n64 48\n%d\n" % full_scale
    path.write_bytes(header + levels.astype(">u2").tobytes())


@pytest.mark.parametrize("full_scale", [1023, 4095, 65535])
def test_deep_greymaps_keep_the_levels_of_their_file_where_asked(tmp_path, full_scale):
    levels = (np.arange(48 * 64).reshape(48, 64) * 21 % (full_scale + 1)).astype(np.uint16)
    levels[0, :2] = 0, full_scale
    for name in ("a.pgm", "b.pgm"):
        save_greymap(tmp_path / name, levels, full_scale)
    footage = open_footage(tmp_path, 10.0, bits=None)
    assert footage.full_scale_dn == full_scale
    for frame in footage:
        assert frame.image.dtype == np.uint16
        assert np.array_equal(frame.image, levels)
    told = ["depth-untold"] if full_scale == 65535 else []  # 16 bits may hold any depth
    assert [finding.code for finding in footage.findings] == told
    scaled = next(iter(open_footage(tmp_path, 10.0))).image
    assert scaled.dtype == np.uint8
    assert np.abs(scaled - levels * (255.0 / full_scale)).max() <= 0.5


@pytest.mark.parametrize("ending", ["png", "tif"])
def test_deep_pictures_of_other_kinds_keep_their_levels_where_asked(tmp_path, ending):
    levels = (np.arange(48 * 64).reshape(48, 64) * 21).astype(np.uint16)
    Image.fromarray(levels).save(tmp_path / f"a.{ending}")
    footage = open_footage(tmp_path, 10.0, bits=None)
    (frame,) = footage
    assert np.array_equal(frame.image, levels)
    assert (frame.image.dtype, footage.full_scale_dn) == (np.uint16, 65535)


def test_shallow_pictures_stay_shallow_and_depths_are_not_mixed(tmp_path, pictures):
    save(tmp_path, pictures[:2], "image{}.pgm")
    footage = open_footage(tmp_path, 10.0, bits=None)
    assert [frame.image.dtype for frame in footage] == [np.uint8, np.uint8]
    assert footage.full_scale_dn == 255
    save_greymap(tmp_path / "image9.pgm", pictures[0].astype(np.uint16), 1023)
    assert sentence(tmp_path, rate_hz=10.0, bits=None) == (
        f"{tmp_path / 'image9.pgm'} = full scale 1023 is not that of the first, 255; "
        "keep pictures of one depth in a folder."
    )


def test_a_deep_greymap_cut_short_is_no_picture(tmp_path):
    save_greymap(tmp_path / "a.pgm", np.zeros((47, 64)), 1023)
    assert "is not a picture that can be read" in sentence(tmp_path)


def test_the_rigs_rate_counts_pictures_and_is_told(tmp_path, pictures, write_video):
    save(tmp_path, pictures)
    footage = open_footage(tmp_path, rig_rate_hz=100.0)
    assert [frame.capture_ns for frame in footage][:3] == [0, 10_000_000, 20_000_000]
    assert "were taken to be 100 Hz, as the rig says" in str(footage.findings[0])
    footage = open_footage(tmp_path, 50.0, rig_rate_hz=100.0)
    assert (footage.times, footage.findings) == ("counted at 50 Hz", [])
    clip = write_video(tmp_path / "clip.mkv", pictures)
    assert open_footage(clip, rig_rate_hz=100.0).times == "from the video"
