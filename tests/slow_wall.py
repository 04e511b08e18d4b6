"""The barn wall with a camera that films slowly enough for any computer, and its registration."""

import json
import shutil
import subprocess
import sys
from pathlib import Path

from tests.once import once

import rushlight

SCENARIO = Path(rushlight.__file__).parent / "jobs" / "scenarios" / "barn-wall" / "rig.toml"
CHANGES = {
    'outputs = ["session", "pointer"]': 'outputs = ["session"]',
    'frame_rate = "100 Hz"': 'frame_rate = "30 Hz"',
}
SEED = "7"


def write_slow_wall(folder):
    """The rig alone, in a folder that is made; the folder."""
    words = SCENARIO.read_text(encoding="utf-8")
    for old, new in CHANGES.items():
        assert old in words
        words = words.replace(old, new)
    folder.mkdir(exist_ok=True)
    (folder / "rig.toml").write_text(words, encoding="utf-8")
    return folder


def command(folder, *arguments):
    """What a command prints in a rig's folder; it may find the rig wanting."""
    done = subprocess.run(
        [sys.executable, "-m", "rushlight", *arguments, "--json"],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )
    assert done.returncode in (0, 1), done.stderr
    return json.loads(done.stdout)


def register_slow_wall(factory, folder):
    """Lay a registration into a slow wall's folder: by the commands, once a run of the tests."""

    def make(home):
        write_slow_wall(home)
        touched = ("--script", "registration", "--touched-by", "stylus-wren", "--seed", SEED)
        command(home, "simulate", ".", *touched, "--out", "footage")
        return command(home, "register", "--rig", ".", "--footage", "footage")

    home, printed = once(factory, "slow-wall", make)
    for made in home.glob("registration.*"):
        shutil.copy(made, folder / made.name)
    return printed
