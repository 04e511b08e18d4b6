"""The exact sentences that a wrong document gives, one for each wrong field."""

import copy
from pathlib import Path
from typing import Any

import pytest

from rushlight.errors import RushlightError
from rushlight.records.document import read_document, read_text, validate, write_text
from rushlight.records.figure import Figure
from rushlight.records.rig import Rig

RIG: dict[str, Any] = {
    "schema": "rushlight/rig",
    "version": 1,
    "name": "shed-wall",
    "basis": "invented",
    "kinds": ["surface"],
    "licence": "MIT",
    "authors": ["Skerry Fold (invented)"],
    "cameras": [
        {
            "id": "beam",
            "part": "vga-global-60",
            "position": ["1 m", "1 m", "2 m"],
            "look_at": ["1 m", "1 m", "0 m"],
            "frame_rate": "60 Hz",
        }
    ],
    "carried": [
        {
            "id": "stylus",
            "kind": "stylus",
            "solved_as": "point",
            "emitters": [
                {
                    "id": "light",
                    "part": "ir850-5mm-60",
                    "current": "20 mA",
                    "distance_from_tip": "12 mm",
                }
            ],
        }
    ],
    "targets": {
        "worst_error": "8 mm",
        "delay": "90 ms",
        "coverage": "90 %",
        "pointing_speed": "0.5 m/s",
    },
}


def sentences(data: Any) -> list[str]:
    with pytest.raises(RushlightError) as caught:
        validate(Rig, data, "rig.toml")
    return str(caught.value).splitlines()


def camera_with(**changes: Any) -> dict[str, Any]:
    data = copy.deepcopy(RIG)
    data["cameras"][0].update(changes)
    return data


def emitter_with(**changes: Any) -> dict[str, Any]:
    data = copy.deepcopy(RIG)
    data["carried"][0]["emitters"][0].update(changes)
    return data


def test_the_rig_itself_is_good() -> None:
    assert validate(Rig, RIG, "rig.toml").name == "shed-wall"


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        (
            {"exposure": "4 sm"},
            'exposure = "4 sm" has the unknown unit "sm"; '
            'use one of ms, s, µs, us, ns, min, h, or "auto".',
        ),
        (
            {"exposure": 4},
            "exposure = 4 is a bare number where a time with its unit is needed; "
            'write "4 ms", or "auto".',
        ),
        (
            {"exposure": "60 fps"},
            'exposure = "60 fps" is a frequency where a time is needed; '
            'use one of ms, s, µs, us, ns, min, h, or "auto".',
        ),
        (
            {"exposure": "0 ms"},
            'exposure = "0 ms" is not above 0; give more than 0 ms, or "auto".',
        ),
        ({"look_at": 1.2}, "look_at = 1.2 is not a list; write the values between [ and ]."),
        (
            {"look_at": ["1 m", "2 m"]},
            'look_at = ["1 m", "2 m"] holds 2 of the 3 needed; add what is missing.',
        ),
        (
            {"look_at": []},
            "look_at = [] holds 0 of the 3 needed; add what is missing.",
        ),
        (
            {"look_at": ["1 m"] * 4},
            'look_at = ["1 m", "1 m", "1 m", "1 m"] holds 4 where 3 may stand; remove the others.',
        ),
        (
            {"look_at": ["1 m", 2, "3 m"]},
            "look_at[1] = 2 is a bare number where a length with its unit is needed; "
            'write "2 m".',
        ),
        (
            {"position": "1 m"},
            'position = "1 m" is not a list; write the values between [ and ].',
        ),
        ({"gain": 0}, "gain = 0 is not above 0; give more than 0."),
        ({"gain": 101}, "gain = 101 is above 100; give at most 100."),
        (
            {"gain": "high"},
            'gain = "high" is not a number; give a number without quotation marks.',
        ),
        (
            {"illuminator": "ring"},
            'illuminator = "ring" is not a table of fields; give its fields by name.',
        ),
        ({"mount": "loose"}, 'mount = "loose" is not known here; use "fixed" or "carried".'),
        (
            {"id": "Left beam"},
            'id = "Left beam" is not an id; use lower-case letters, digits and hyphens.',
        ),
        (
            {"exposre": "4 ms"},
            'exposre = "4 ms" is not a field of this document; '
            'write "exposure" if that is meant.',
        ),
        (
            {"zzz": {"a": 1}},
            "zzz is not a field of this document; remove it, or use one of aim, clock, exposure, "
            "filter, frame_rate, gain, id, illuminator, lens, lines, look_at, mount, part, "
            "placed_within, position, source, stream, turned_within.",
        ),
        (
            {"lens": 3},
            "lens = 3 is not a text; write it between quotation marks.",
        ),
        (
            {"frame_rate": None},
            "frame_rate = null is not a quantity; a frequency is needed; "
            'write a text such as "1 Hz".',
        ),
        (
            {"illuminator": {"part": "ring", "count": 1, "current": 20, "ring_radius": "3 cm"}},
            "illuminator.current = 20 is a bare number where a current with its unit is needed; "
            'write "20 mA".',
        ),
        (
            {"illuminator": {"part": "ring", "count": 1, "current": "9 mA"}},
            "illuminator.ring_radius is missing; add it.",
        ),
    ],
)  # fmt: skip
def test_one_sentence_for_a_wrong_field_of_a_camera(changes: Any, sentence: str) -> None:
    assert sentences(camera_with(**changes)) == [f"rig.toml: cameras[0].{sentence}"]


def test_sentences_of_whole_tables() -> None:
    aim = {"turn": "3 deg", "tilt": "1 deg"}
    assert sentences(camera_with(aim=aim)) == [
        "rig.toml: cameras[0] needs exactly one of look_at and aim; "
        "give the point that the camera looks at."
    ]
    assert sentences(emitter_with(reflector="9 mm")) == [
        "rig.toml: carried[0].emitters[0] needs exactly one of part and reflector; "
        "name an emitter part."
    ]
    assert sentences(emitter_with(current=None)) == [
        'rig.toml: carried[0].emitters[0] needs a current; add current = "20 mA" or so.'
    ]
    assert sentences(emitter_with(axis=[0, 0, 0])) == [
        "rig.toml: carried[0].emitters[0] has an axis of no length; "
        "give a direction such as [0, 0, -1]."
    ]


def test_each_wrong_field_gives_one_finding_and_all_are_told_at_once() -> None:
    data = camera_with(exposure="4 sm", frame_rate=60, gain=-1)
    del data["licence"]
    data["cameras"].append({})
    told = sentences(data)
    assert [line.split(" ")[1] for line in told] == [
        "licence",
        "cameras[0].exposure",
        "cameras[0].frame_rate",
        "cameras[0].gain",
        "cameras[1].id",
        "cameras[1].part",
        "cameras[1].position",
        "cameras[1].frame_rate",
    ]


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"cameras": []}, "rig.toml: cameras = [] holds 0 of the 1 needed; add what is missing."),
        (
            {"camera": []},
            "rig.toml: camera = [] is not a field of this document; "
            'write "cameras" if that is meant.',
        ),
        (
            {"kinds": "surface"},
            'rig.toml: kinds = "surface" is not a list; write the values between [ and ].',
        ),
        (
            {"kinds": ["surface", "wall"]},
            'rig.toml: kinds[1] = "wall" is not known here; '
            'use "surface", "viewpoint", "body" or "volume".',
        ),
        (
            {"prices": {"mast": {"amount": 1, "currency": "eur", "date": "2026-05",
                                 "basis": "invented"}}},
            'rig.toml: prices.mast.currency = "eur" is not a currency; '
            'use its three capital letters, such as "EUR".',
        ),
        (
            {"prices": {"Mast": {"amount": 1, "currency": "EUR", "date": "2026-05",
                                 "basis": "invented"}}},
            "rig.toml: prices.Mast is not an id; use lower-case letters, digits and hyphens.",
        ),
        (
            {"version": 2},
            "rig.toml: version = 2 cannot be read by this program, which reads version 1; "
            "use a matching version of Rushlight.",
        ),
        (
            {"version": "1"},
            'rig.toml: version = "1" cannot be read by this program, which reads version 1; '
            "use a matching version of Rushlight.",
        ),
        (
            {"schema": "rushlight/kit"},
            'rig.toml: schema = "rushlight/kit" is not "rushlight/rig"; '
            'give a file whose first line is schema = "rushlight/rig".',
        ),
    ],
)  # fmt: skip
def test_sentences_of_the_document(changes: Any, sentence: str) -> None:
    assert sentences({**RIG, **changes}) == [sentence]


def test_a_document_without_fields() -> None:
    assert sentences([1]) == ["rig.toml holds no fields; give a rushlight/rig document."]


def test_fields_are_named_inside_tables_that_are_keyed_freely() -> None:
    data = {**RIG, "prices": {"mast": {"amount": 1, "curency": "EUR"}}}
    assert (
        'rig.toml: prices.mast.curency = "EUR" is not a field of this document; '
        'write "currency" if that is meant.'
    ) in sentences(data)


def test_a_long_value_is_cut() -> None:
    line = sentences(camera_with(mount="x" * 500))[0]
    assert "…" in line
    assert len(line) < 200


@pytest.mark.parametrize(
    ("name", "content", "sentence"),
    [
        ("a.toml", b"x = ", "a.toml is not valid TOML: "),
        ("a.json", b"{", "a.json is not valid JSON: "),
        ("a.json", b"\xff\xfe", "a.json is not UTF-8 text; give a text file."),
        ("a.json", b"[]", "a.json holds no fields; give a rushlight/rig document."),
    ],
)
def test_files_that_are_no_documents(
    tmp_path: Path, name: str, content: bytes, sentence: str
) -> None:
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(RushlightError) as caught:
        read_document(Rig, path)
    assert sentence in str(caught.value)


def test_missing_file_and_folder(tmp_path: Path) -> None:
    with pytest.raises(RushlightError, match=r"does not exist; check the path\.$"):
        read_text(tmp_path / "nowhere.toml")
    with pytest.raises(RushlightError, match=r"cannot be read .*; give a file\.$"):
        read_text(tmp_path)


def test_a_place_that_cannot_be_written(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(RushlightError, match=r"cannot be written .*; choose another place\.$"):
        write_text(tmp_path / "file" / "inside.json", "{}")


def test_writing_leaves_no_neighbour_behind(tmp_path: Path) -> None:
    write_text(tmp_path / "a.json", "{}")
    write_text(tmp_path / "a.json", "[]")
    assert [path.name for path in tmp_path.iterdir()] == ["a.json"]
    assert (tmp_path / "a.json").read_text() == "[]"


def test_a_figure_needs_a_listed_name() -> None:
    with pytest.raises(ValueError, match="name"):
        Figure.model_validate({"name": "niceness", "statistic": "rms"})
