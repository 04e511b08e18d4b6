"""Photon transfer in the levels of deep cameras."""

import numpy as np
import pytest
from PIL import Image

from rushlight.errors import RushlightError
from rushlight.inspect.noise import noise
from rushlight.inspect.takes import Take
from rushlight.jobs.inspect import Asked, inspect
from rushlight.jobs.new import new
from rushlight.records.dots import Frame

LEVELS_E = {"1 ms": 600.0, "2 ms": 1200.0, "3 ms": 1800.0, "5 ms": 3000.0}
WELL_E, READ_E, BLACK_8 = 6000.0, 3.0, 6.0


class Deep:
    """A sensor of so many bits; nothing of the program's simulator."""

    def __init__(self, bits):
        self.top = 2**bits - 1
        self.black_dn = BLACK_8 * 2 ** (bits - 8)
        self.gain = (self.top - self.black_dn) / WELL_E

    def pictures(self, rng, mean_e, count=16, shape=(64, 80)):
        light = mean_e * (1 + 0.1 * np.linspace(-1, 1, shape[1])) * np.ones(shape)
        held = [rng.poisson(light) + rng.normal(0.0, READ_E, shape) for _ in range(count)]
        level = np.rint(np.array(held) * self.gain + self.black_dn)
        return np.clip(level, 0, self.top).astype(np.uint16)

    def takes(self, seed, way=lambda levels: levels):
        rng = np.random.default_rng(seed)
        told = {"dark": 0.0, **LEVELS_E}
        return {name: way(self.pictures(rng, mean)) for name, mean in told.items()}


def as_take(name, pictures, full_scale_dn):
    frames = [Frame("c", k, k * 10**7 + 1, np.nan, each) for k, each in enumerate(pictures)]
    return Take(name, frames, "from the camera", full_scale_dn=full_scale_dn)


def measured(result):
    return {each.field or each.name: each for each in result.measures}


@pytest.mark.parametrize("bits", [10, 12, 14])
def test_the_truth_is_found_in_deep_levels(bits):
    sensor = Deep(bits)
    takes = [as_take(*each, sensor.top) for each in sensor.takes(bits).items()]
    result = noise(takes)
    values = measured(result)
    assert result.verdict == "the gain is known"
    gain = values["gain [DN/e⁻]"].interval
    assert abs(gain.value - sensor.gain) < 4 * gain.std
    assert gain.std < 0.03 * gain.value
    for name, truth in (("full_well", WELL_E), ("read_noise", READ_E), ("black_level", BLACK_8)):
        value = values[name].interval
        assert abs(value.value - truth) < 4 * value.std, name
    # In 8 bits a grey level is 24 electrons and hides this read noise; deep levels show it.
    assert values["read_noise"].interval.std < 0.1 * READ_E


def test_takes_of_two_depths_are_refused():
    ten, twelve = Deep(10).takes(1), Deep(12).takes(1)
    mixed = [as_take("dark", ten["dark"], 1023), as_take("1 ms", twelve["1 ms"], 4095)]
    with pytest.raises(RushlightError, match="different depths"):
        noise(mixed)


def write_takes(folder, takes):
    for name, pictures in takes.items():
        (folder / name).mkdir(parents=True)
        for index, levels in enumerate(pictures):
            Image.fromarray(levels).save(folder / name / f"{index:02}.png")
    return folder


def rig_in(folder):
    """A new rig with a camera of 10 bits."""
    new(folder)
    text = (folder / "rig.toml").read_text()
    (folder / "rig.toml").write_text(text.replace("vga-global-60", "mono-global-720p"))
    return folder


@pytest.mark.parametrize("shift", [0, 6])
def test_pictures_in_16_bits_are_measured_at_the_parts_depth(tmp_path, shift):
    sensor = Deep(10)
    frames = write_takes(tmp_path / "takes", sensor.takes(2, lambda levels: levels << shift))
    rig = rig_in(tmp_path / "rig")
    found = inspect("noise", [frames], Asked(rig=rig))
    values = measured(found.result)
    well = values["full_well"].interval
    assert abs(well.value - WELL_E) < 4 * well.std
    written = next(path for path in found.written if path.suffix == ".toml").read_text()
    assert "full_well" in written
    assert "read_noise" in written
    with pytest.raises(RushlightError, match=r"depth is not told; give --rig") as refused:
        inspect("noise", [frames])
    assert refused.value.findings[0].code == "depth-untold"
