"""The shelf: what is built in, and how files beside a rig change it."""

import json
import math

import pytest

from rushlight.errors import RushlightError
from rushlight.records.parts import PartMeasured
from rushlight.records.sourced import Sourced
from rushlight.shelf.catalogue import KINDS, built_in_shelf, load_shelf

OWN = """
schema = "rushlight/shelf"
version = 1
[[filters]]
id = "{id}"
name = "{name}"
passes = "long"
edge = {{ value = 800.0, unit = "nm", source = "measured with a lamp" }}
transmission = {{ value = {transmission}, unit = "%", source = "measured with a lamp" }}
leak = {{ value = 1.0, unit = "%", source = "measured with a lamp" }}
"""


def own(folder, file="own.shelf.toml", id="window-film", name="Window film", transmission=70.0):
    (folder / file).write_text(OWN.format(id=id, name=name, transmission=transmission), "utf-8")


def measure(folder, file="cam.measured.json", part="vga-global-120", kind="camera", **values):
    record = PartMeasured(
        part=part,
        kind=kind,
        values={
            name: Sourced(value=value, unit=unit, source="measured here", basis="measured")
            for name, (value, unit) in values.items()
        },
    )
    record.stamped("measured").write(folder / file)


def message(folder):
    with pytest.raises(RushlightError) as caught:
        load_shelf(folder)
    return str(caught.value)


def test_the_built_in_shelf_holds_enough_of_each_kind():
    counts = {kind: len(built_in_shelf().of_kind(kind)) for kind in KINDS}
    least = {"camera": 6, "emitter": 6, "cell": 4, "filter": 3, "display": 3, "sheet": 3}
    assert all(counts[kind] >= least[kind] for kind in KINDS)


def test_no_built_in_part_has_a_price_and_every_value_has_a_source():
    for kind in KINDS:
        for part in built_in_shelf().of_kind(kind):
            assert part.price is None
            for name in part.DIMENSIONS:
                value = getattr(part, name)
                if isinstance(value, Sourced):
                    assert value.source, (part.id, name)


def test_camera_values_lie_where_their_source_says():
    # 15 to 35 % at 850 nm, 5 to 15 % at 940 nm, 2 to 10 e-, 4 to 20 ke-: from memory.
    for camera in built_in_shelf().of_kind("camera"):
        assert 0.15 <= camera.quantum_efficiency_850.si <= 0.35
        assert 0.05 <= camera.quantum_efficiency_940.si <= 0.15
        assert 2 <= camera.read_noise.si <= 10
        assert 4e3 <= camera.full_well.si <= 20e3


def test_rolling_rows_fit_within_the_frame():
    for camera in built_in_shelf().of_kind("camera"):
        if camera.shutter == "rolling":
            assert camera.size_px[1] * camera.row_time.si <= 1 / camera.frame_rate.si


def test_own_parts_are_added_and_replace_built_in_ones(tmp_path):
    own(tmp_path)
    own(tmp_path, file="second.shelf.toml", id="long-pass-850", name="Mine")
    shelf = load_shelf(tmp_path)
    assert shelf.filter("window-film").transmission.si == pytest.approx(0.7)
    assert shelf.filter("long-pass-850").name == "Mine"
    assert shelf.origin("filter", "long-pass-850") == "second.shelf.toml"
    assert built_in_shelf().find("filter", "window-film") is None


def test_an_id_twice_is_refused_within_a_file_and_across_files(tmp_path):
    own(tmp_path)
    path = tmp_path / "own.shelf.toml"
    twice = (
        path.read_text()
        + OWN.format(id="window-film", name="Again", transmission=1.0).split("version = 1")[1]
    )
    (tmp_path / "own.shelf.toml").write_text(twice, "utf-8")
    assert message(tmp_path) == (
        'own.shelf.toml: filters[1].id = "window-film" is already the id of a part in '
        "own.shelf.toml; give each part its own id."
    )
    own(tmp_path)
    own(tmp_path, file="second.shelf.toml")
    assert message(tmp_path) == (
        'second.shelf.toml: filters[0].id = "window-film" is already the id of a part in '
        "own.shelf.toml; give each part its own id."
    )


def test_an_id_of_another_kind_is_refused(tmp_path):
    own(tmp_path, id="cr2032")
    assert message(tmp_path) == (
        'own.shelf.toml: filters[0].id = "cr2032" is already the id of a cell on the shelf; give '
        "this part another id."
    )


@pytest.mark.parametrize(
    ("transmission", "expected"),
    [
        (130.0, "has transmission = 130 %, which is more than all; give at most 100 %"),
        (-3.0, "has transmission = -3 %, which is below 0; correct it"),
        (0.0, "has transmission = 0, which cannot be; give its value"),
        (math.nan, "has transmission = nan %, which is no number; give one, or leave it out"),
    ],
)
def test_values_that_cannot_be_are_refused(tmp_path, transmission, expected):
    own(tmp_path, transmission=transmission)
    assert message(tmp_path) == f"own.shelf.toml: filters[0] {expected}."


def test_a_full_angle_is_not_taken_for_a_half_angle(tmp_path):
    wide = {"value": 120.0, "unit": "deg", "source": "measured here"}
    data = {
        "schema": "rushlight/part-measured",
        "version": 1,
        "part": "ir850-5mm-60",
        "kind": "emitter",
        "values": {"half_angle": wide},
    }
    (tmp_path / "light.measured.json").write_text(json.dumps(data), "utf-8")
    assert message(tmp_path) == (
        "light.measured.json: values has half_angle = 120 deg, which is no half angle; give the "
        "angle from the axis to half the intensity, below 90°."
    )


def test_measured_values_override_typical_ones(tmp_path):
    measure(tmp_path, read_noise=(3.2, "e-"))
    shelf = load_shelf(tmp_path)
    camera = shelf.camera("vga-global-120")
    assert camera.read_noise.si == 3.2
    assert camera.read_noise.basis == "measured"
    assert camera.full_well == built_in_shelf().camera("vga-global-120").full_well
    assert shelf.origin("camera", "vga-global-120") == "generic.toml and cam.measured.json"


def test_measured_values_that_fit_no_part_are_refused(tmp_path):
    measure(tmp_path, part="vga-globl-120", read_noise=(3.2, "e-"))
    assert message(tmp_path) == (
        'cam.measured.json: part = "vga-globl-120" is not a camera on the shelf; write '
        '"vga-global-120" if that is meant.'
    )
    measure(tmp_path, read_nose=(3.2, "e-"))
    assert message(tmp_path) == (
        "cam.measured.json: values.read_nose is no value of a camera; write "
        '"read_noise" if that is meant.'
    )
    measure(tmp_path, read_noise=(3.2, "mm"))
    assert message(tmp_path) == (
        'cam.measured.json: values read_noise has the unit "mm", which is not a unit of electrons; '
        "give one that is."
    )


def test_two_measurements_of_one_value_are_refused(tmp_path):
    measure(tmp_path, read_noise=(3.2, "e-"))
    measure(tmp_path, file="second.measured.json", read_noise=(4.2, "e-"))
    assert message(tmp_path) == (
        "second.measured.json: values.read_noise was measured in cam.measured.json too; keep the "
        "file of the part that you use."
    )


def test_an_unknown_part_is_answered_with_the_likeliest(tmp_path):
    with pytest.raises(RushlightError) as caught:
        built_in_shelf().cell("aa-alkalin")
    assert str(caught.value) == (
        'shelf = "aa-alkalin" is not a cell on the shelf; write "aa-alkaline" if that is meant.'
    )
