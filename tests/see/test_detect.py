"""The detector on pictures of known truth: precision, false dots, doubts, odd shapes."""

import dataclasses

import numpy as np
import pytest
from scipy.special import erf

from rushlight.errors import RushlightError
from rushlight.physics.centre import centre_cov_quantised
from rushlight.records.dots import REASONS, Dots
from rushlight.see.detect import Detector, detect
from rushlight.see.sensor import SensorNoise

# A gain other than the one that the detector assumes where it is told none.
GAIN_E_PER_DN, READ_DN, OFFSET_DN = 45.0, 0.8, 5.0
NOISE_DN = np.sqrt(READ_DN**2 + 1 / 12)
KNOWN = SensorNoise(GAIN_E_PER_DN, READ_DN, OFFSET_DN)
WIDTH, HEIGHT = 320, 240


def spot_light(shape, x, y, sigma, peak):
    """Mean light of a Gaussian spot integrated over pixels; `peak` is its middle pixel [DN]."""

    def line(count, centre):
        edges = np.arange(count + 1) - 0.5
        return 0.5 * np.diff(erf((edges - centre) / (sigma * np.sqrt(2))))

    flux = peak / erf(0.5 / (sigma * np.sqrt(2))) ** 2
    return flux * np.outer(line(shape[0], y), line(shape[1], x))


def picture(rng, light):
    """An 8-bit picture of a mean light [DN], with shot noise, read noise and rounding."""
    shot = rng.poisson(light * GAIN_E_PER_DN) / GAIN_E_PER_DN
    level = shot + OFFSET_DN + rng.normal(0, READ_DN, light.shape)
    return np.clip(np.rint(level), 0, 255).astype(np.uint8)


def picture_of_spots(rng, spots, width=WIDTH, height=HEIGHT):
    light = np.zeros((height, width))
    for x, y, sigma, peak in spots:
        light += spot_light(light.shape, x, y, sigma, peak)
    return picture(rng, light)


def grid_of_spots(rng, sigma, peak):
    """Six spots far apart, each at a random place within its pixel."""
    return [
        (x + rng.uniform(-0.5, 0.5), y + rng.uniform(-0.5, 0.5), sigma, peak)
        for x in (60, 160, 260)
        for y in (70, 170)
    ]


def errors_of(detector, rng, sigma, peak, pictures):
    """Errors of the good dots nearest to the true spots, their covariances, and the misses."""
    errors, covs, missed, extra = [], [], 0, 0
    for _ in range(pictures):
        spots = grid_of_spots(rng, sigma, peak)
        good = detector(picture_of_spots(rng, spots)).good()
        hits = 0
        for x, y, *_ in spots:
            gaps = np.linalg.norm(good.xy - [x, y], axis=1)
            if len(gaps) and gaps.min() < 2 + sigma:
                errors.append(good.xy[gaps.argmin()] - [x, y])
                covs.append(good.cov[gaps.argmin()])
                hits += 1
            else:
                missed += 1
        extra += len(good) - hits
    return np.array(errors), np.array(covs), missed, extra


def bound_px(rng, sigma, peak):
    """Root mean square over sub-pixel places of the bound of an 8-bit picture [px]."""
    flux_e = peak / erf(0.5 / (sigma * np.sqrt(2))) ** 2 * GAIN_E_PER_DN
    cov = centre_cov_quantised(
        flux_e,
        sigma,
        0.0,
        READ_DN * GAIN_E_PER_DN,
        GAIN_E_PER_DN,
        OFFSET_DN,
        half_window=int(np.ceil(5 * sigma + 2)),
        phase_px=rng.uniform(-0.5, 0.5, (12, 2)),
    )
    return np.sqrt(np.trace(cov, axis1=-2, axis2=-1).mean() / 2)


@pytest.mark.parametrize("noise", [KNOWN, SensorNoise.unknown()], ids=["known", "unknown"])
@pytest.mark.parametrize("sigma", [0.7, 1.5, 3.0])
@pytest.mark.parametrize("peak_to_noise", [10, 50, 250])
def test_centres_are_as_good_as_the_light_allows(noise, sigma, peak_to_noise):
    rng = np.random.default_rng(round(1000 * sigma) + peak_to_noise)
    peak = peak_to_noise * NOISE_DN
    errors, covs, missed, extra = errors_of(Detector(WIDTH, HEIGHT, noise), rng, sigma, peak, 25)
    # 150 spots, two axes: the ratio of a perfect fit scatters by 4 %, and 1.15 lies 3 deviations
    # above it.
    assert np.sqrt(np.mean(errors**2)) < 1.15 * bound_px(rng, sigma, peak)
    # The reported covariance is the true one: mean squared Mahalanobis distance over 2 is 1.
    reduced = np.einsum("ni,nij,nj->n", errors, np.linalg.inv(covs), errors).mean() / 2
    # Where the gain is not known, the assumed one claims up to twice the true variance here.
    assert (0.7 if noise.known else 0.45) < reduced < 1.35
    assert missed <= 0.05 * 150
    assert extra == 0


@pytest.mark.parametrize("sigma", [1.5, 2.5, 5.0, 8.0])
def test_wide_faint_spots_are_found(sigma):
    rng = np.random.default_rng(4)
    _, _, missed, extra = errors_of(Detector(WIDTH, HEIGHT, KNOWN), rng, sigma, 5 * NOISE_DN, 10)
    assert missed <= 3
    assert extra == 0


@pytest.mark.parametrize("sigma, peak", [(1.0, 900.0), (2.0, 900.0), (4.0, 2500.0)])
def test_clipped_spots_are_fitted_by_their_slopes(sigma, peak):
    rng = np.random.default_rng(9)
    errors, covs, missed, _ = errors_of(Detector(WIDTH, HEIGHT, KNOWN), rng, sigma, peak, 12)
    reduced = np.einsum("ni,nij,nj->n", errors, np.linalg.inv(covs), errors).mean() / 2
    assert missed == 0
    assert reduced < 1.5
    assert np.sqrt(np.mean(errors**2)) < 0.05


@pytest.mark.parametrize("noise", [KNOWN, SensorNoise.unknown()], ids=["known", "unknown"])
def test_plain_noise_makes_no_dots(noise):
    rng = np.random.default_rng(2)
    detector = Detector(640, 480, noise)
    # Fewer than 0.05 a picture are allowed: 3 in 60 would still be likely, 4 not.
    false = sum(len(detector(picture(rng, np.zeros((480, 640)))).good()) for _ in range(60))
    assert false <= 3


def test_slanting_room_light_makes_no_dots():
    rng = np.random.default_rng(3)
    y, x = np.mgrid[0:480, 0:640]
    light = 100.0 * (0.6 * x / 640 + 0.4 * ((y / 480 - 0.3) ** 2 + (x / 640 - 0.6) ** 2))
    detector = Detector(640, 480, KNOWN)
    assert sum(len(detector(picture(rng, light)).good()) for _ in range(30)) <= 2


def test_hot_pixels_are_told_apart():
    rng = np.random.default_rng(1)
    image = picture(rng, np.zeros((HEIGHT, WIDTH)))
    places = [(40, 50), (100, 200), (250, 30)]
    for x, y in places:
        image[y, x] = 120
    dots = detect(image, KNOWN)
    assert len(dots.good()) == 0
    hot = dots.xy[dots.reason == REASONS.index("hot pixel")]
    assert sorted(map(tuple, hot.tolist())) == sorted(places)


def test_a_spot_cut_by_the_frame_says_so():
    rng = np.random.default_rng(6)
    dots = detect(picture_of_spots(rng, [(1.0, 100.0, 2.0, 150.0)]), KNOWN)
    assert len(dots.good()) == 0
    assert REASONS.index("edge of frame") in dots.reason


def test_a_faint_halo_does_not_move_or_widen_the_spot():
    rng = np.random.default_rng(8)
    errors, widths = [], []
    for _ in range(20):
        x, y = 160 + rng.uniform(-0.5, 0.5, 2)
        # A tenth of the height, six times the width: light scattered in a wall.
        spots = [(x, y, 1.5, 120.0), (x + 1.0, y, 9.0, 12.0)]
        good = detect(picture_of_spots(rng, spots), KNOWN).good()
        assert len(good) == 1
        errors.append(good.xy[0] - [x, y])
        widths.append(np.sqrt(good.width[0, 0]))
    # The halo's middle lies a pixel aside; its slope under the spot pulls a little.
    assert np.abs(np.mean(errors, axis=0)).max() < 0.03
    assert np.mean(widths) == pytest.approx(1.5, abs=0.15)


@pytest.mark.parametrize("peak", [60.0, 150.0, 900.0])
@pytest.mark.parametrize("sigma", [1.0, 2.5])
@pytest.mark.parametrize("gap_sigmas", [3.0, 3.5, 5.0])
def test_touching_spots_are_fitted_together(peak, sigma, gap_sigmas):
    rng = np.random.default_rng(10)
    squared = []
    for _ in range(12):
        x, y = 100 + rng.uniform(-0.5, 0.5, 2)
        turn = rng.uniform(0, 2 * np.pi)
        gap = gap_sigmas * sigma * np.array([np.cos(turn), np.sin(turn)])
        truth = np.array([[x, y], [x + gap[0], y + gap[1]]])
        spots = [(*truth[0], sigma, peak), (*truth[1], sigma, 0.7 * peak)]
        good = detect(picture_of_spots(rng, spots), KNOWN).good()
        assert len(good) == 2
        nearest = np.linalg.norm(good.xy[None] - truth[:, None], axis=2).argmin(axis=1)
        assert sorted(nearest) == [0, 1]
        for place, index in zip(truth, nearest, strict=True):
            error = good.xy[index] - place
            squared.append(error @ np.linalg.solve(good.cov[index], error) / 2)
    # 48 squared deviations: their mean scatters by a fifth, twice that is allowed above 1.
    assert np.mean(squared) < 1.5


@pytest.mark.parametrize("gap_sigmas", [1.3, 1.8, 2.4])
def test_a_tip_and_its_own_glow_on_the_wall_are_one_dot(gap_sigmas):
    # A plan predicts where a single spot settles on the two; split, the place would jump.
    rng = np.random.default_rng(15)
    for _ in range(12):
        x, y = 100 + rng.uniform(-0.5, 0.5, 2)
        spots = [(x, y, 0.9, 110.0), (x + 0.9 * gap_sigmas, y, 1.1, 60.0)]
        good = detect(picture_of_spots(rng, spots), KNOWN).good()
        assert len(good) == 1
        assert x < good.xy[0, 0] < x + 0.9 * gap_sigmas


def test_melted_spots_are_one_dot_in_their_middle():
    rng = np.random.default_rng(17)
    for gap in (0.5, 1.0, 1.5):
        spots = [(100.0, 100.0, 1.5, 150.0), (100.0 + gap, 100.0, 1.5, 150.0)]
        good = detect(picture_of_spots(rng, spots), KNOWN).good()
        assert len(good) == 1
        assert good.xy[0] == pytest.approx([100 + gap / 2, 100], abs=0.06)


def test_one_spot_is_not_taken_for_two():
    rng = np.random.default_rng(18)
    detector = Detector(WIDTH, HEIGHT, KNOWN)
    for sigma in (0.6, 1.0, 2.0, 4.0, 7.0):
        for peak in (8.0, 80.0, 240.0, 1500.0):
            spots = grid_of_spots(rng, sigma, peak)
            assert len(detector(picture_of_spots(rng, spots)).good()) <= len(spots)


def test_faint_small_spots_are_mostly_found():
    rng = np.random.default_rng(21)
    _, _, missed, extra = errors_of(Detector(WIDTH, HEIGHT, KNOWN), rng, 0.7, 5 * NOISE_DN, 20)
    # Of 120; a threshold of five noise widths on single pixels finds a third of them.
    assert missed <= 70
    assert extra == 0


@pytest.mark.parametrize("length, sigma", [(5.0, 0.9), (6.0, 1.5), (10.0, 1.5)])
def test_spots_drawn_out_by_motion_are_fitted_with_their_widths(length, sigma):
    rng = np.random.default_rng(22)
    squared, widths = [], []
    for _ in range(15):
        place = 100 + rng.uniform(-0.5, 0.5, 2)
        turn = rng.uniform(0, np.pi)
        way = np.array([np.cos(turn), np.sin(turn)])
        spots = [
            (*(place + way * part * length), sigma, 1.0) for part in np.linspace(-0.5, 0.5, 31)
        ]
        light = sum(spot_light((HEIGHT, WIDTH), *spot) for spot in spots)
        good = detect(picture(rng, light * 60.0 / light.max()), KNOWN).good()
        assert len(good) == 1
        error = good.xy[0] - place
        squared.append(error @ np.linalg.solve(good.cov[0], error) / 2)
        xx, xy, yy = good.width[0]
        axis = np.linalg.eigh([[xx, xy], [xy, yy]])[1][:, 1]
        widths.append(way @ np.array([[xx, xy], [xy, yy]]) @ way)
        assert abs(axis @ way) > 0.97
    # The covariance is stretched by what the model leaves unexplained: never too small.
    assert np.mean(squared) < 1.5
    assert np.sqrt(np.mean(widths)) == pytest.approx(np.hypot(sigma, length / 12**0.5), rel=0.25)


def disc(shape, x, y, long_px, short_px, contrast):
    """An ellipse with a rim one pixel soft."""
    row, column = np.mgrid[0 : shape[0], 0 : shape[1]]
    radius = np.hypot((column - x) / long_px, (row - y) / short_px)
    return contrast * np.clip(0.5 + (1 - radius) * short_px, 0, 1)


@pytest.mark.parametrize("noise", [KNOWN, SensorNoise.unknown()], ids=["known", "unknown"])
@pytest.mark.parametrize("contrast", [120.0, 400.0])
@pytest.mark.parametrize("long_px, short_px", [(9.0, 7.0), (20.0, 20.0), (45.0, 30.0)])
def test_large_discs_are_weighed(noise, contrast, long_px, short_px):
    rng = np.random.default_rng(11)
    x, y = 150 + rng.uniform(-0.5, 0.5, 2)
    light = disc((HEIGHT, WIDTH), x, y, long_px, short_px, contrast)
    good = detect(picture(rng, light), noise).good()
    assert len(good) == 1
    # The rim has some 2π·30 pixels of which each is uncertain by a small part of a pixel.
    assert good.xy[0] == pytest.approx([x, y], abs=0.1)


def test_a_bright_bar_is_no_dot():
    rng = np.random.default_rng(12)
    light = np.zeros((HEIGHT, WIDTH))
    light[100:110, 40:280] = 200.0
    light[40:200, 150:160] = 200.0
    assert len(detect(picture(rng, light), KNOWN).good()) == 0


def test_least_contrast_makes_weak_spots_faint():
    rng = np.random.default_rng(13)
    image = picture_of_spots(rng, [(100, 100, 1.5, 20.0), (200, 100, 1.5, 120.0)])
    dots = Detector(WIDTH, HEIGHT, KNOWN, least_contrast_dn=60.0)(image)
    assert len(dots.good()) == 1
    assert REASONS.index("faint") in dots.reason


@pytest.mark.parametrize("width, height", [(8, 8), (33, 17), (101, 75), (641, 479)])
@pytest.mark.parametrize("level", [0, 7, 255])
def test_any_size_and_any_flat_level(width, height, level):
    image = np.full((height, width), level, np.uint8)
    assert len(detect(image).good()) == 0
    image[height // 2, width // 2] = 255 - level
    detect(image)


def test_random_pictures_do_no_harm():
    rng = np.random.default_rng(14)
    detector = Detector(90, 70)
    for _ in range(20):
        image = rng.integers(0, 256, (70, 90), dtype=np.uint8)
        dots = detector(image)
        assert len(dots) <= 64
        assert np.isfinite(dots.xy).all()
        assert np.isfinite(dots.good().cov).all()


def test_a_read_only_or_strided_picture_is_as_good():
    rng = np.random.default_rng(15)
    image = picture_of_spots(rng, [(100, 100, 1.5, 120.0)])
    wide = np.repeat(image, 2, axis=1)
    image.setflags(write=False)
    assert detect(image, KNOWN).same_as(detect(wide[:, ::2], KNOWN))


def test_the_record_is_as_one_that_was_checked():
    rng = np.random.default_rng(19)
    dots = Detector(WIDTH, HEIGHT, KNOWN)(picture_of_spots(rng, grid_of_spots(rng, 1.2, 90.0)))
    fields = {field.name: getattr(dots, field.name) for field in dataclasses.fields(Dots)}
    checked = Dots(**fields)
    assert dots.same_as(checked)
    for name, array in fields.items():
        assert array.dtype == getattr(checked, name).dtype
        assert not array.flags.writeable
        assert array.flags.c_contiguous
        assert array.base is None


def test_the_same_picture_gives_the_same_dots_again():
    rng = np.random.default_rng(16)
    detector = Detector(WIDTH, HEIGHT, KNOWN)
    image = picture_of_spots(rng, grid_of_spots(rng, 1.2, 900.0))
    first = detector(image)
    detector(picture_of_spots(rng, grid_of_spots(rng, 3.0, 90.0)))
    assert first.same_as(detector(image))


def test_wrong_pictures_and_settings_are_refused():
    with pytest.raises(ValueError, match=r"expected \(240, 320\)"):
        Detector(WIDTH, HEIGHT)(np.zeros((320, 240), np.uint8))
    with pytest.raises(ValueError, match="float32"):
        Detector(WIDTH, HEIGHT)(np.zeros((HEIGHT, WIDTH), np.float32))
    with pytest.raises(RushlightError, match="below 8×8"):
        Detector(4, 4)
    with pytest.raises(RushlightError, match="most_dots"):
        Detector(WIDTH, HEIGHT, most_dots=0)
