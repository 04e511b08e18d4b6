"""Lights with known places, as dots and as pictures."""

import numpy as np
import pytest

from rushlight.records.dots import Dots, Frame
from rushlight.records.registration import CameraMap, Registration, Validity, Verdict

STD_PX = 0.08


def dots_at(places, noise=None):
    """Good dots at these places [px], with their noise and covariance."""
    xy = np.array(places, float).reshape(-1, 2)
    if noise is not None:
        xy = xy + noise.normal(0.0, STD_PX, xy.shape)
    count = len(xy)
    return Dots(
        xy=xy,
        cov=np.tile(STD_PX**2 * np.eye(2), (count, 1, 1)),
        flux=np.full(count, 900.0),
        width=np.tile([1.4, 0.0, 1.4], (count, 1)),
        peak=np.full(count, 90.0),
        saturated=np.zeros(count, int),
        quality=np.ones(count),
        reason=np.zeros(count, int),
    )


class Played:
    """A detector that knows the dots beforehand, and the frames to show it."""

    def __init__(self, dots, period_ns=10_000_000):
        self.dots = dots
        self.period_ns = period_ns

    def frames(self):
        """Pictures that hold nothing but their number."""
        for index in range(len(self.dots)):
            image = np.zeros((480, 640), np.uint8)
            image.flat[:2] = divmod(index, 256)
            yield Frame("beam", index, (index + 1) * self.period_ns, 0.0, image)

    def __call__(self, image):
        """The dots of the picture's number."""
        return self.dots[256 * int(image.flat[0]) + int(image.flat[1])]


@pytest.fixture
def registration():
    """A camera 2 m before the middle of a wall of 2.56 × 1.92 m: 4 mm a pixel, y turned."""
    return Registration(
        maps=[
            CameraMap(
                camera="beam",
                camera_matrix=[[500.0, 0, 320.0], [0, 500.0, 240.0], [0, 0, 1]],
                distortion=[0.0] * 5,
                surface_from_normalised=[[2.0, 0, 1.28], [0, -2.0, 0.96], [0, 0, 1]],
                camera_position_m=(1.28, 0.96, 2.0),
            )
        ],
        parameters=[],
        estimate=[],
        cov=[],
        flatness_m=[0.0] * 7,
        mean_height_m=0.0,
        clock_offset_ns=[0],
        touches=[],
        valid_for=Validity(
            camera="beam", size_px=(640, 480), surface="wall", surface_size_m=(2.56, 1.92)
        ),
        rms_residual_m=0.002,
        touch_std_m=0.002,
        verdict=Verdict(vouched=True, reasons=["it stands on nine touches"]),
    )
