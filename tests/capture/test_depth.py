"""Deep pictures keep their camera's levels, however files and drivers hold them."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image

from rushlight.capture.depth import DeepLevels
from rushlight.capture.open import open_footage
from rushlight.errors import RushlightError
from rushlight.records.session import FootageHeader

TOPS = {10: 1023, 12: 4095}


def scene(bits, number=0):
    """Levels of a dark picture with noise, a light and a clipped pixel."""
    rng = np.random.default_rng(number)
    levels = rng.normal(4.0 * 2 ** (bits - 8), 3.0, (48, 64)).round().clip(0)
    levels[20, 30:32] = 2**bits - 1, 2 ** (bits - 1) + 3
    return levels.astype(np.uint16)


def held(levels, bits, how):
    """The same levels as 16 bits may hold them."""
    if how == "moved up":
        return levels << (16 - bits)
    if how == "repeated":
        return (levels << (16 - bits)) | (levels >> (2 * bits - 16))
    if how == "stretched":
        return np.rint(levels * 65535.0 / (2**bits - 1)).astype(np.uint16)
    return levels


@pytest.mark.parametrize("bits", [10, 12])
@pytest.mark.parametrize("how", ["as they are", "moved up", "repeated", "stretched"])
@pytest.mark.parametrize("ending", ["png", "tif"])
def test_a_folder_gives_the_cameras_levels_whatever_16_bits_make_of_them(
    tmp_path, bits, how, ending
):
    pictures = [scene(bits, number) for number in range(3)]
    for number, levels in enumerate(pictures):
        Image.fromarray(held(levels, bits, how)).save(tmp_path / f"{number}.{ending}")
    footage = open_footage(tmp_path, 10.0, bits=bits)
    assert footage.full_scale_dn == TOPS[bits]
    for frame, levels in zip(footage, pictures, strict=True):
        assert frame.image.dtype == np.uint16
        assert np.array_equal(frame.image, levels)
    assert footage.findings == []


@pytest.mark.parametrize(("bits", "pixels"), [(10, "gray10le"), (12, "gray12le"), (10, "gray16le")])
def test_a_video_gives_the_cameras_levels(tmp_path, write_video, bits, pixels):
    pictures = [scene(bits, number) for number in range(3)]
    path = write_video(tmp_path / "clip.mkv", pictures, pixels=pixels)
    footage = open_footage(path, bits=bits)
    assert footage.full_scale_dn == TOPS[bits]
    for frame, levels in zip(footage, pictures, strict=True):
        assert np.array_equal(frame.image, levels)
    # Without a depth told, the file's own is believed unless it is 16 bits, which hold any.
    codes = [finding.code for finding in open_footage(path, bits=None).findings]
    assert codes == (["depth-untold"] if pixels == "gray16le" else [])
    eight = next(iter(open_footage(path)))
    assert eight.image.dtype == np.uint8


def test_levels_beyond_the_depth_told_are_refused(tmp_path):
    levels = scene(12)
    Image.fromarray(levels).save(tmp_path / "a.png")
    with pytest.raises(RushlightError) as refused:
        open_footage(tmp_path, 10.0, bits=10)
    assert str(refused.value) == (
        f"{tmp_path / 'a.png'} = level 4095 is beyond the 1023 of the 10 bits that the rig's "
        "camera part tells, and the pictures do not hold such levels moved up or stretched "
        "either; correct bit_depth in the camera's part."
    )
    # A later picture is refused as well.
    Image.fromarray(scene(10)).save(tmp_path / "a.png")
    Image.fromarray(levels).save(tmp_path / "b.png")
    with pytest.raises(RushlightError, match=r"b\.png = level 4095 is beyond"):
        list(open_footage(tmp_path, 10.0, bits=10))


def test_fewer_bits_than_the_part_tells_are_taken_and_told(tmp_path):
    header = b"P5 64 48 1023 "
    (tmp_path / "a.pgm").write_bytes(header + scene(10).astype(">u2").tobytes())
    footage = open_footage(tmp_path, 10.0, bits=12)
    assert footage.full_scale_dn == 1023
    assert [finding.code for finding in footage.findings] == ["depth-differs"]


def test_a_sidecar_tells_the_depth_whatever_the_video_could_hold(tmp_path, write_video):
    levels = scene(11)
    write_video(tmp_path / "footage.mkv", [levels], pixels="gray16le")
    FootageHeader(
        picture="footage.mkv",
        camera="camera",
        size_px=(64, 48),
        full_scale_dn=2047,
        capture_ns=[1],
        exposure_ns=1,
        simulated=True,
    ).stamped("simulated").write(tmp_path / "footage.json")
    footage = open_footage(tmp_path, bits=None)
    assert footage.full_scale_dn == 2047
    assert np.array_equal(next(iter(footage)).image, levels)
    (eight,) = open_footage(tmp_path)
    assert np.abs(eight.image - levels * (255 / 2047)).max() <= 0.5


@pytest.mark.parametrize("how", ["as they are", "moved up"])
def test_a_cameras_16_bit_words_are_read_at_its_depth(how):
    told = []
    levels = DeepLevels("camera:0", 12, told.append)
    picture = scene(12)
    assert np.array_equal(levels(held(picture, 12, how), 65535), picture)
    assert levels.full_scale_dn == 4095
    assert told == []


def test_shallow_pictures_pass_untouched():
    levels = DeepLevels("x", 10, lambda finding: None)
    image = np.zeros((8, 8), np.uint8)
    assert levels(image, 255) is image
    assert levels.full_scale_dn == 255
