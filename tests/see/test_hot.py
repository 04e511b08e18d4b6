"""Hot pixels: learnt from the dark, learnt in use, mended before the search."""

import cv2
import numpy as np
import pytest
from scipy.special import erf

from rushlight.errors import RushlightError
from rushlight.see.detect import Detector
from rushlight.see.hot import HotPixels, HotPixelWatch
from rushlight.see.sensor import SensorNoise
from rushlight.see.stream import contrast_floor_dn

WIDTH, HEIGHT = 160, 120
KNOWN = SensorNoise(45.0, 0.8, 5.0)
PLACES = np.array([[0, 0], [30, 40], [31, 40], [100, 77], [159, 119]])


def light_at(x, y, sigma=1.5, peak=120.0):
    def line(count, centre):
        edges = np.arange(count + 1) - 0.5
        return 0.5 * np.diff(erf((edges - centre) / (sigma * np.sqrt(2))))

    flux = peak / erf(0.5 / (sigma * np.sqrt(2))) ** 2
    return flux * np.outer(line(HEIGHT, y), line(WIDTH, x))


def taken(rng, light, hot=PLACES, height=90.0):
    """A simulated picture whose pixels at `hot` are brighter than their light."""
    level = light + 5.0 + rng.normal(0, 0.8, light.shape) * np.sqrt(1 + light / 45 / 0.64)
    level[hot[:, 1], hot[:, 0]] += height
    return np.clip(np.rint(level), 0, 255).astype(np.uint8)


@pytest.mark.parametrize("height", [4.0, 90.0])
def test_hot_pixels_are_learnt_from_dark_pictures(height):
    rng = np.random.default_rng(1)
    dark = [taken(rng, np.zeros((HEIGHT, WIDTH)), height=height) for _ in range(16)]
    assert HotPixels.from_dark(dark).xy.tolist() == PLACES.tolist()


def test_a_dark_camera_without_hot_pixels_has_none():
    rng = np.random.default_rng(2)
    dark = [taken(rng, np.zeros((HEIGHT, WIDTH)), PLACES[:0]) for _ in range(4)]
    assert len(HotPixels.from_dark(dark)) == 0
    with pytest.raises(ValueError, match="one dark picture"):
        HotPixels.from_dark([])
    with pytest.raises(ValueError, match="expected pictures of"):
        HotPixels.from_dark([dark[0], dark[1][:50]])


def test_mended_pictures_show_the_light_only_and_the_callers_stay_as_they_were():
    rng = np.random.default_rng(3)
    hot = HotPixels(xy=PLACES)
    light = light_at(101.3, 76.2)  # the fourth hot pixel lies within it
    mending = Detector(WIDTH, HEIGHT, KNOWN, hot=hot)
    plain = Detector(WIDTH, HEIGHT, KNOWN)
    off, off_plain = [], []
    for _ in range(20):
        image = taken(rng, light)
        before = image.copy()
        dots = mending(image).good()
        assert np.array_equal(image, before)
        assert len(dots) == 1
        off.append(dots.xy[0] - [101.3, 76.2])
        off_plain.append(plain(image).good().xy - [101.3, 76.2])
    assert np.sqrt(np.mean(np.square(off))) < 0.05
    # Without the map the same pixel draws the centre away or spoils the fit.
    spoilt = [len(gap) != 1 or np.abs(gap).max() > 0.1 for gap in off_plain]
    assert np.mean(spoilt) > 0.6


def test_hot_pixels_are_learnt_in_use_once_a_light_has_moved():
    rng = np.random.default_rng(4)
    detector = Detector(WIDTH, HEIGHT, KNOWN)
    watch = HotPixelWatch(sightings=10)
    hot = np.array([[30, 40], [100, 77]])
    for _ in range(15):
        learnt = watch.step(detector(taken(rng, light_at(60.0, 90.0), hot)))
        assert len(learnt) == 0
    for step in range(15):
        learnt = watch.step(detector(taken(rng, light_at(60.0 + step, 90.0), hot)))
    assert learnt.xy.tolist() == hot.tolist()
    assert learnt.join(HotPixels(xy=PLACES)).xy.tolist() == sorted(PLACES.tolist())


def test_many_hot_pixels_do_not_crowd_out_a_fainter_light():
    rng = np.random.default_rng(8)
    hot = np.argwhere(np.ones((7, 10)))[:, ::-1] * 16 + 8
    light = light_at(64.2, 63.9, 1.5, 30.0)
    for _ in range(5):
        good = Detector(WIDTH, HEIGHT, KNOWN)(taken(rng, light, hot)).good()
        assert len(good) == 1
        assert good.xy[0] == pytest.approx([64.2, 63.9], abs=0.2)


def test_hot_pixels_of_another_size_are_refused():
    with pytest.raises(RushlightError, match="must all lie within 100×100"):
        Detector(100, 100, hot=HotPixels(xy=PLACES))


def coded_pictures(rng, count):
    """Noise after a lossy coder (simulated camera, real coder)."""
    for _ in range(count):
        level = 40.0 + 20.0 * np.arange(320) / 320 + rng.normal(0, 3.0, (240, 320))
        image = np.clip(np.rint(level), 0, 255).astype(np.uint8)
        _, code = cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, 30])
        yield cv2.imdecode(code, cv2.IMREAD_GRAYSCALE)


def test_a_floor_of_contrast_is_measured_from_a_compressed_stream():
    rng = np.random.default_rng(5)
    floor = contrast_floor_dn(coded_pictures(rng, 20))
    assert 2.0 < floor < 25.0
    bare, floored = Detector(320, 240), Detector(320, 240, least_contrast_dn=floor)
    later = list(coded_pictures(rng, 20))
    assert sum(len(bare(image).good()) for image in later) >= 5
    assert sum(len(floored(image).good()) for image in later) == 0
    with pytest.raises(ValueError, match="one picture"):
        contrast_floor_dn([])


def test_a_stream_that_shows_nothing_needs_no_floor():
    rng = np.random.default_rng(7)
    dark = [taken(rng, np.zeros((HEIGHT, WIDTH)), PLACES[:0]) for _ in range(5)]
    assert contrast_floor_dn(dark) == 0.0
