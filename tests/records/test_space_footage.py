"""The sidecar of several cameras' footage survives the disk, and refuses what it is not."""

from pathlib import Path

import pytest

from rushlight.errors import RushlightError
from rushlight.records.document import read_document
from rushlight.records.space_footage import SPACE_FOOTAGE, SpaceFootage, SpaceHold, SpaceMark


def _footage() -> SpaceFootage:
    look = SpaceMark(
        carried="cap",
        point="eye",
        kind="look",
        from_m=(0.1, 0.2, 0.3),
        to_m=(0.1, 0.2, 0.0),
        from_ns=0,
        until_ns=10**9,
    )
    return SpaceFootage(
        cameras=["left", "right"],
        script="registration",
        marks=[look],
        holds=[SpaceHold(carried="cap", from_ns=0, until_ns=10**9)],
        simulated=True,
        causes=["centre"],
        truth="truth.sqlite",
    ).stamped("simulated", seed=3)


def test_it_survives_the_disk(tmp_path: Path) -> None:
    written = _footage()
    written.write(tmp_path / SPACE_FOOTAGE)
    assert read_document(SpaceFootage, tmp_path / SPACE_FOOTAGE) == written


def test_footage_of_no_camera_is_refused(tmp_path: Path) -> None:
    path = tmp_path / SPACE_FOOTAGE
    path.write_text(
        '{"schema": "rushlight/space-footage", "version": 1, "cameras": [], "simulated": true}'
    )
    with pytest.raises(RushlightError, match="cameras"):
        read_document(SpaceFootage, path)
