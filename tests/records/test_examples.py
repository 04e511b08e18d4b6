"""The example rigs are good documents, one of each kind, and say that they are invented."""

from pathlib import Path

import pytest

from rushlight.records.document import read_document
from rushlight.records.rig import Rig

FOLDER = Path(__file__).resolve().parents[2] / "examples" / "records"
FILES = sorted(FOLDER.glob("*.toml"))


def rig_of(name: str) -> Rig:
    return read_document(Rig, FOLDER / f"{name}.toml")


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_example_loads_and_is_marked_as_invented(path: Path) -> None:
    rig = read_document(Rig, path)
    assert rig.name == path.stem
    assert rig.basis == "invented"
    assert "invented" in rig.title
    assert path.read_text(encoding="utf-8").startswith("# Invented:")
    assert all(price.basis == "invented" for price in rig.prices.values())


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_example_comes_back_from_json(path: Path, tmp_path: Path) -> None:
    rig = read_document(Rig, path)
    rig.write(tmp_path / "rig.json")
    assert read_document(Rig, tmp_path / "rig.json") == rig


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_example_refers_to_what_it_holds(path: Path) -> None:
    rig = read_document(Rig, path)
    people = {person.id for person in rig.people}
    assert {thing.person for thing in rig.carried if thing.person} <= people
    for listed in (rig.surfaces, rig.cameras, rig.carried, rig.people, rig.anchors):
        ids = [item.id for item in listed]
        assert len(ids) == len(set(ids))


def test_there_is_one_of_each_kind() -> None:
    kinds = {kind for path in FILES for kind in read_document(Rig, path).kinds}
    assert kinds == {"surface", "viewpoint", "body", "volume"}


def test_surface_rig_with_two_cameras() -> None:
    rig = rig_of("barn-wall-two-cameras")
    assert [camera.id for camera in rig.cameras] == ["left-beam", "right-beam"]
    assert rig.cameras[0].position[0].value == pytest.approx(-0.3)
    assert rig.cameras[1].exposure == "auto"
    assert rig.people[0].stature.value == pytest.approx(66 * 0.0254)


def test_viewpoint_rig_with_two_screens() -> None:
    rig = rig_of("paper-theatre")
    assert rig.surfaces[0].pose is None
    assert rig.surfaces[1].pose is not None
    assert rig.carried[0].solved_as == "pair"
    assert [emitter.id for emitter in rig.carried[0].emitters] == ["left", "right"]
    assert rig.carried[0].points[0].name == "eye"


def test_body_rig_with_four_emitters() -> None:
    ferry = rig_of("ferry-model").carried[0]
    assert ferry.solved_as == "pose"
    assert len(ferry.emitters) == 4
    heights = [e.position[2].value for e in ferry.emitters if e.position is not None]
    assert len(set(heights)) > 1


def test_volume_rig_with_two_cameras_and_a_scale_bar() -> None:
    rig = rig_of("choir-baton")
    assert len(rig.cameras) == 2
    assert rig.surfaces == []
    near, far = rig.carried[1].emitters
    assert near.position is not None
    assert far.position is not None
    assert far.position[2].value - near.position[2].value == pytest.approx(0.5)
