"""A search's candidate taken into the rig's text."""

import importlib.resources
import tomllib
from pathlib import Path

from rushlight.jobs.take import with_candidate
from rushlight.records.search import SearchCandidate

FILE = Path(str(importlib.resources.files("rushlight.jobs") / "scenarios" / "barn-wall/rig.toml"))
ONE = SearchCandidate(
    number=3, place="beam", position_m=(0.71234567, 1.68, 2.73), look_at_m=(1.06, 1.06, 0.0),
    camera="vga-global-60", filter=None, emitter="ir850-5mm-60", current_a=0.01,
    cell="aaa-alkaline", cells=3, frame_rate_hz=60.0, exposure_s=1e-3, cost=46.2,
    error_rms_m=2.6e-3, error_worst_m=4e-3, coverage=0.8, coverage_clear=0.97, delay_s=0.066,
    battery_s=4e6, build_s=6000.0, missed=[],
)  # fmt: skip


def test_parts_and_place_are_taken_and_comments_stay():
    before = FILE.read_text(encoding="utf-8")
    after = with_candidate(before, ONE)
    rig = tomllib.loads(after)
    camera = rig["cameras"][0]
    assert camera["part"] == "vga-global-60"
    assert camera["position"] == ["0.7123 m", "1.68 m", "2.73 m"]
    assert camera["look_at"] == ["1.06 m", "1.06 m", "0 m"]
    assert camera["frame_rate"] == "60 Hz"
    assert "filter" not in camera
    for carried in rig["carried"]:
        assert carried["emitters"][0]["part"] == "ir850-5mm-60"
        assert carried["emitters"][0]["current"] == "10 mA"
        assert (carried["cell"], carried["cells"]) == ("aaa-alkaline", 3)
    comments = [line for line in before.splitlines() if line.startswith("#")]
    assert [line for line in after.splitlines() if line.startswith("#")] == comments
