"""Warming compiles what live work runs."""

import numpy as np
import pytest

from rushlight.see import picture
from rushlight.see.learning import LearningDetector
from rushlight.see.sensor import SensorNoise
from rushlight.see.warm import warm


@pytest.mark.parametrize("levels", [np.uint8, np.uint16])
def test_a_camera_with_whole_levels_needs_no_kernel_of_its_own(levels):
    warm()
    before = set(picture.look.signatures)
    image = np.full((96, 96), 5, levels)
    image[40:43, 40:43] = 60
    for full_scale_dn in (255, 255.0, np.int64(255)):  # sidecars and sources tell whole numbers
        noise = SensorNoise(20.0, 0.8, 5.0, full_scale_dn)
        dots = LearningDetector(96, 96, noise)(image)
        np.testing.assert_allclose(dots.good().xy, [[41.0, 41.0]], atol=0.2)
    assert set(picture.look.signatures) == before
