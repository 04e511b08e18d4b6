"""Rigs with reflective markers: what the check says, and what they come to as numbers."""

from __future__ import annotations

import importlib.resources
import math
from pathlib import Path

import numpy as np
import pytest

from rushlight.errors import RushlightError
from rushlight.jobs.load import load_rig
from rushlight.physics.light import beam_exponent
from rushlight.shelf.check import check_rig
from rushlight.shelf.cost import parts_used
from rushlight.shelf.resolve import resolve

LAMPS = (
    'illuminator = { part = "ir850-5mm-17", count = 8, current = "50 mA", ring_radius = "14 mm", '
    'feed = { part = "usb-supply" } }\n'
)
MARKER = 'reflector = "10 mm"\nsheet = "sheet-type-3"\n'


def marker_rig(folder: Path, lamps: str = LAMPS, marker: str = MARKER) -> Path:
    """The template with a marker in the place of its light, and lamps beside the lens."""
    text = importlib.resources.files("rushlight.jobs").joinpath("template_surface.toml").read_text()
    for old, new in (
        ('filter = "long-pass-850"\n', 'filter = "long-pass-850"\n' + lamps),
        ('part = "ir850-5mm-17"\n# From', marker + "# From"),
        ('current = "10 mA"\n', ""),
        ('duty = "30 %"\n', ""),
        ('diffuser = { transmission = "60 %", spread = "60 %" }\n', ""),
        ('cell = "aa-alkaline"\n', ""),
        ("cells = 2\n", ""),
    ):
        assert old in text
        text = text.replace(old, new)
    folder.mkdir(exist_ok=True)
    (folder / "rig.toml").write_text(text)
    return folder


def said(folder: Path) -> list[str]:
    return [str(each) for each in check_rig(*load_rig(folder))]


def test_a_marker_rig_is_whole(tmp_path) -> None:
    folder = marker_rig(tmp_path / "rig")
    assert said(folder) == []
    rig, shelf = load_rig(folder)
    used = parts_used(rig)
    assert used.count(("emitter", "ir850-5mm-17")) == 8
    assert ("sheet", "sheet-type-3") in used
    numbers = resolve(rig, shelf)
    c, e = numbers.cameras, numbers.emitters
    # Eight lamps of 80 mW/sr at 50 mA.
    assert c.lamp_w_sr[0, 0] == pytest.approx(0.64)
    assert c.lamp_exponent[0, 0] == pytest.approx(float(beam_exponent(math.radians(17.5))))
    assert (c.lamp_radius_m[0, 0], c.lamp_count[0, 0]) == (0.014, 8.0)
    assert e.intensity_w_sr[0, 0] == 0.0 and e.retro_ball[0, 0] == 1.0
    assert e.retro_area_m2[0, 0] == pytest.approx(math.pi * 0.005**2)
    assert e.retro_cd_lx_m2[0, 0].tolist() == [[250.0, 150.0], [95.0, 65.0]]
    assert e.wavelength_m[0, 0] == pytest.approx(850e-9)
    assert e.current_a[0, 0] == pytest.approx(0.05)
    assert e.size_m[0, 0] == pytest.approx(0.01)
    assert np.isnan(e.supply_v[0, 0])


@pytest.mark.parametrize(
    ("lamps", "marker", "sentence"),
    [
        ("", MARKER, "cameras[0].illuminator is missing, and a reflective marker is seen only by"),
        (LAMPS.replace("50 mA", "120 mA").replace("count = 8", "count = 4"), MARKER,
         'cameras[0].illuminator.current = "120 mA" is above the 100 mA'),
        (LAMPS.replace("14 mm", "8 cm"), MARKER,
         'illuminator.ring_radius = "8 cm" puts the lamps 2.2° from the lens'),
        (LAMPS, MARKER.replace("type-3", "type-9"),
         'emitters[0].sheet = "sheet-type-9" is not a retro-reflective sheet on the shelf'),
        (LAMPS, MARKER + 'shape = "disc"\n', "turns the face of the disc to the surface"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_said(tmp_path, lamps, marker, sentence) -> None:
    found = said(marker_rig(tmp_path / "rig", lamps, marker))
    assert len(found) == 1 and sentence in found[0]


@pytest.mark.parametrize(
    ("drive", "sentence"),
    [
        ("steady", "shows the marker always, so that nothing tells a press from hovering"),
        ("pulsed", "is for lights of their own; a marker has no current"),
    ],
)
def test_a_marker_shows_while_pressed_or_always(tmp_path, drive, sentence) -> None:
    folder = marker_rig(tmp_path / "rig")
    path = folder / "rig.toml"
    path.write_text(path.read_text().replace('drive = "switched"', f'drive = "{drive}"'))
    assert any(sentence in each for each in said(folder))


def test_an_unlit_marker_cannot_be_computed(tmp_path) -> None:
    rig, shelf = load_rig(marker_rig(tmp_path / "rig", lamps=""))
    with pytest.raises(RushlightError, match="beside the lens"):
        resolve(rig, shelf)
