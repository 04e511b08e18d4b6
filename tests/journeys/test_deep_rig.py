"""A camera of more than 8 bits: the whole way at full depth, no worse than at 8 bits."""

from __future__ import annotations

import importlib.resources

import numpy as np
import pytest
from PIL import Image
from tests.planned_wall import write_plan

from rushlight.capture.open import open_footage
from rushlight.errors import RushlightError
from rushlight.jobs.register import register
from rushlight.jobs.run import run
from rushlight.jobs.simulate import simulate
from rushlight.keep.session import SessionReader

TEMPLATE = (importlib.resources.files("rushlight.jobs") / "template_surface.toml").read_text()
SHELF = (importlib.resources.files("rushlight.shelf") / "generic.toml").read_text()


def rig_of(folder, bits):
    """The new rig, its camera's part with so many bits."""
    folder.mkdir()
    (folder / "rig.toml").write_text(TEMPLATE.replace("vga-global-60", "deep-camera"))
    camera = SHELF[SHELF.index("[[cameras]]") :]
    camera = camera[: camera.index("[[cameras]]", 5)]
    camera = camera.replace("vga-global-60", "deep-camera").replace("= 8\n", f"= {bits}\n")
    head = 'schema = "rushlight/shelf"\nversion = 1\ntitle = "Deep"\n\n'
    (folder / "deep.shelf.toml").write_text(head + camera)
    return folder


def rehearse(folder):
    """Simulate, register and run; the registration's result, the dots and the truth."""
    write_plan(folder, folder / "plan", (9, 6))
    plan_file = folder / "plan" / "plan.json"
    _, touches = simulate(
        folder, "registration", folder / "touches", 3, plan=plan_file, frames_per_place=30
    )
    told = register(touches, folder, folder / "registration.json")
    _, grid = simulate(
        folder, "grid", folder / "grid", 3,
        plan=plan_file, columns=4, rows=3, frames_per_place=8,
    )  # fmt: skip
    run(grid, folder / "grid.sqlite", folder, folder / "registration.json")
    return told, dots_of(folder / "grid.sqlite"), dots_of(grid / "truth.sqlite")


def dots_of(path):
    with SessionReader(path) as reader:
        return reader.dot_table()


def scatter_px(found, truth):
    """How good dots scatter about the true place [px], and their light [DN px], one a true dot.

    The glow on the wall draws a dot toward it by the same way in every frame of a place.
    """
    places, apart, flux = [], [], []
    for frame in np.unique(truth["frame"]):
        here = np.flatnonzero((found["frame"] == frame) & (found["reason"] == 0))
        for row in np.flatnonzero(truth["frame"] == frame):
            true = np.array([truth["x_px"][row], truth["y_px"][row]])
            gap = np.stack([found["x_px"][here], found["y_px"][here]], axis=-1) - true
            if len(here) and np.hypot(*gap.T).min() < 2.0:
                nearest = int(np.argmin(np.hypot(*gap.T)))
                places.append(tuple(true.round(3)))
                apart.append(gap[nearest])
                flux.append(found["flux_dn_px"][here[nearest]])
    which = np.unique(places, axis=0, return_inverse=True)[1].ravel()
    apart = np.array(apart)
    middle = np.stack([apart[which == place].mean(axis=0) for place in range(which.max() + 1)])
    return apart - middle[which], np.array(flux)


@pytest.fixture(scope="module")
def eight(tmp_path_factory):
    return rehearse(rig_of(tmp_path_factory.mktemp("eight") / "rig", 8))


@pytest.fixture(scope="module")
def ten(tmp_path_factory):
    folder = rig_of(tmp_path_factory.mktemp("ten") / "rig", 10)
    return folder, *rehearse(folder)


def test_a_deep_rig_goes_the_whole_way_no_worse_than_at_8_bits(eight, ten):
    told_8, *seen_8 = eight
    folder, told, *seen = ten
    footage = open_footage(folder / "grid", bits=10)
    assert footage.full_scale_dn == 1023
    assert next(iter(footage)).image.dtype == np.uint16
    assert told.registration.verdict.vouched
    assert told.registration.rms_residual_m < 1.1 * told_8.registration.rms_residual_m
    apart, flux = scatter_px(*seen)
    apart_8, flux_8 = scatter_px(*seen_8)
    assert len(apart) >= 0.98 * len(apart_8)
    assert len(apart_8) > 90
    # The seed draws the same hands and noise; finer levels round less away.
    assert np.sqrt(np.mean(apart**2)) <= 1.02 * np.sqrt(np.mean(apart_8**2))
    assert np.median(flux) / np.median(flux_8) == pytest.approx(4.0, rel=0.02)


def test_a_folder_of_16_bit_pictures_is_read_at_the_parts_depth(tmp_path, ten):
    """As a camera of 10 bits leaves them in 16: moved to the upper end."""
    folder, _, found, _ = ten
    pictures = tmp_path / "pictures"
    pictures.mkdir()
    for frame in open_footage(folder / "grid", bits=10):
        Image.fromarray(frame.image << 6).save(pictures / f"{frame.index}.png", compress_level=1)
    run(pictures, tmp_path / "seen.sqlite", folder, folder / "registration.json")
    with SessionReader(tmp_path / "seen.sqlite") as reader:
        assert reader.basis == "measured"  # pictures do not say that they were simulated
        again = reader.dot_table()
    assert np.array_equal(again["x_px"], found["x_px"])
    assert np.array_equal(again["flux_dn_px"], found["flux_dn_px"])
    wrong = rig_of(tmp_path / "wrong", 9)
    with pytest.raises(RushlightError, match="beyond the 511 of the 9 bits"):
        run(pictures, tmp_path / "none.sqlite", wrong)
    assert not (tmp_path / "none.sqlite").exists()
