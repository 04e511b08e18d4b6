"""What is learnt from a sensor at rest: computed dots of known scatter."""

import numpy as np
import pytest

from rushlight.capture.rest import learn_noise, noise_path
from rushlight.errors import RushlightError
from rushlight.records.document import read_document
from rushlight.records.dot_noise import DotNoise
from rushlight.records.dots import Dots, Frame

COV_PX2 = np.array([[0.5, 0.2], [0.2, 0.3]])


def recording(xy, rate_hz=100.0, missing=(), lost=()):
    """Sightings of places (F, N, 2), without dots of `missing` (frame, light) and frames `lost`."""
    for index, places in enumerate(xy):
        if index in lost:
            continue
        kept = np.array([(index, light) not in missing for light in range(len(places))])
        number = int(kept.sum())
        dots = Dots(
            xy=places[kept],
            cov=np.full((number, 2, 2), np.nan),
            flux=np.full(number, np.nan),
            width=np.full((number, 3), np.nan),
            peak=np.full(number, np.nan),
            saturated=np.zeros(number, int),
            quality=np.ones(number),
            reason=np.zeros(number, int),
        )
        yield Frame("eye", index, round(index * 1e9 / rate_hz), np.nan, None), dots


def resting(frames=2000, lights=2, seed=1):
    random = np.random.default_rng(seed)
    home = np.array([[100.0, 200.0], [700.0, 300.0]])[:lights]
    return home + random.multivariate_normal([0, 0], COV_PX2, (frames, lights))


def test_the_scatter_is_found_whichever_way_the_dots_are_numbered():
    xy = resting()
    xy[::3] = xy[::3, ::-1]
    noise = learn_noise(recording(xy))
    # 4000 places tell a variance to 2.2 % (√(2/4000)): four of those are allowed.
    assert np.allclose(noise.cov_px2, COV_PX2, atol=0.09 * 0.5)
    assert (noise.frames, noise.dots, noise.camera) == (2000, 2, "eye")
    assert noise.rate_hz == pytest.approx(100.0)
    assert np.isnan(noise.step_px).all()
    assert noise.drop_share == 0.0


def test_missing_dots_and_lost_frames_are_the_drop_share():
    missing = {(k, 1) for k in range(100, 150)}
    noise = learn_noise(recording(resting(1000), missing=missing, lost=range(400, 425)))
    assert noise.drop_share == pytest.approx((50 + 50) / 2000)
    assert noise.rate_hz == pytest.approx(100.0)


def test_a_sensor_quieter_than_its_step_still_errs_by_the_step():
    noise = learn_noise(recording(np.full((200, 1, 2), [512.0, 300.5])))
    assert noise.step_px == (1.0, 0.5)
    assert np.allclose(noise.cov_px2, [[1 / 12, 0], [0, 0.25 / 12]])
    rounded = np.rint(resting(4000, 1) * 4) / 4
    noise = learn_noise(recording(rounded))
    assert noise.step_px == (0.25, 0.25)
    assert np.allclose(np.diag(noise.cov_px2), np.diag(COV_PX2) + 0.25**2 / 12, atol=0.05)


def test_slow_wandering_is_noise_and_passes():
    random = np.random.default_rng(7)
    walk = np.zeros((3000, 1, 2))
    for k in range(1, len(walk)):
        walk[k] = 0.98 * walk[k - 1] + random.normal(0, 0.1, (1, 2))
    noise = learn_noise(recording(walk + 100.0))
    assert np.diag(noise.cov_px2) == pytest.approx([0.1**2 / (1 - 0.98**2)] * 2, rel=0.5)


@pytest.mark.parametrize("seed", range(5))
def test_a_light_that_moved_is_refused(seed):
    ramp = np.linspace(0, 10, 1000)[:, None, None]
    knock = np.where(np.arange(1000) > 700, 5.0, 0.0)[:, None, None]
    there_and_back = 5.0 * np.sin(np.linspace(0, np.pi, 1000))[:, None, None]
    for motion in (ramp, knock, there_and_back):
        with pytest.raises(RushlightError, match="while it should have stood still"):
            learn_noise(recording(resting(1000, 1, seed) + motion))


def test_too_little_is_refused():
    with pytest.raises(RushlightError, match="in 40 frames, and 100 are wanted"):
        learn_noise(recording(resting(40)))
    with pytest.raises(RushlightError, match="saw no dots"):
        learn_noise([])


def test_the_noise_is_kept_beside_the_rig_and_read_again(tmp_path):
    path = noise_path(tmp_path / "rig.toml", "eye")
    noise = learn_noise(recording(resting(200))).stamped("simulated")
    noise.write(path)
    again = read_document(DotNoise, path)
    assert again.content_hash() == noise.content_hash()
    assert np.isnan(again.step_px).all()
