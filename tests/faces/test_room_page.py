"""The page on rooms: its example is what the program prints, its rig is the demo's."""

from __future__ import annotations

import re
import shutil
import tomllib
from pathlib import Path

from rushlight.jobs.check import check
from rushlight.jobs.new import new

ROOT = Path(__file__).resolve().parents[2]
PAGE = (ROOT / "docs/how-to-room.md").read_text("utf-8")
BARN = ROOT / "src/rushlight/jobs/scenarios/barn-wall"


def test_example_prints_what_it_says(tmp_path, prints_what_it_says):
    shutil.copytree(BARN, tmp_path / "barn-wall")
    prints_what_it_says(PAGE, tmp_path, 1)


def test_its_room_is_the_demo_s():
    told = tomllib.loads(re.findall(r"```toml\n(.*?)```", PAGE, re.DOTALL)[0])["room"]
    room = tomllib.loads((BARN / "rig.toml").read_text("utf-8"))["room"]
    assert told["lamps"] == room["lamps"][:1]
    assert {**told, "lamps": None} == {**{key: room[key] for key in told}, "lamps": None}


def test_every_picture_is_there():
    for target in re.findall(r"\]\(([^)#]+)\)", PAGE):
        assert (ROOT / "docs" / target).exists(), target


def test_the_commented_rig_s_examples_of_a_room_pass_the_check(tmp_path):
    new(tmp_path / "mine")
    path = tmp_path / "mine" / "rig.toml"
    line = re.compile(
        r"# (?=\[\[room\.|(?:projector|text_height|left|facing|latitude|farthest_reader"
        r"|id|corner|opposite|glazing|light|kind|position|watts|part|current) = [\[{\"\d])"
    )
    inside, lines = False, []
    for each in path.read_text("utf-8").splitlines():
        inside = inside or "[room]" in each or "Where its lens is" in each
        inside = inside and not each.startswith(("[ambient]", "[[cameras]]"))
        lines.append(line.sub("", each, count=1) if inside and line.match(each) else each)
    path.write_text("\n".join(lines), "utf-8")
    room = tomllib.loads(path.read_text("utf-8"))["room"]
    assert {"windows", "lamps", "neighbours", "disturbers", "left", "farthest_reader"} <= set(room)
    assert [str(one) for one in check(tmp_path / "mine").findings if one.severity != "note"] == []
