"""The desktop's pointer on a desktop without a screen (Xvfb); no other desktop was tried."""

import os
import shutil
import subprocess
import sys
import textwrap
import time

import pytest

from rushlight.drive.desktop import Owner
from rushlight.drive.output import Step


def step(kind, pointer, x=0.0, y=0.0):
    return Step(kind, pointer, f"s{pointer}", x, y, 0)


def test_the_first_lit_has_the_pointer_until_it_is_lifted():
    owner = Owner()
    own = owner.own(
        [
            step("down", 2), step("down", 1), step("move", 1), step("move", 2), step("up", 2),
            step("move", 1), step("up", 1), step("down", 1), step("cancel", 1),
        ]
    )  # fmt: skip
    assert [(each.kind, each.pointer) for each in own] == [
        ("down", 2), ("move", 2), ("up", 2), ("down", 1), ("cancel", 1)
    ]  # fmt: skip
    assert owner.own([step("up", 1)]) == []


PROGRAM = """
import contextlib, sys, time
sys.path.insert(0, {folder!r})
from conftest import fix, results, switched
from Xlib import X
from Xlib.display import Display as Desktop
from rushlight.drive.desktop import Region
from rushlight.drive.output import Display
from rushlight.drive.outputs import open_outputs

with contextlib.redirect_stdout(sys.stderr):
    root = Desktop().screen().root

def now():
    pointer = root.query_pointer()
    return pointer.root_x, pointer.root_y, bool(pointer.mask & X.Button1Mask)

def until(true):
    end = time.monotonic() + 10.0
    while not true(now()):
        assert time.monotonic() < end, now()
        time.sleep(0.01)
    return now()

def put(n, places=(), ups=()):
    fixes = [fix(carried, trail, x, y, n) for carried, trail, x, y in places]
    outputs.put(results(n, n, fixes, [switched("switch-up", c, t, n) for c, t in ups]))

display = Display((2.4, 1.5), (1200, 750), "wall")
{body}
"""

WHOLE = """
with open_outputs(["desktop"], display) as outputs:
    put(0, [("wren", 1, 1.2, 0.75), ("lark", 2, 0.1, 0.1)])
    print(*until(lambda at: at[2]))
    put(1, [("wren", 1, 1.8, 0.75), ("lark", 2, 0.2, 0.1)])
    print(*until(lambda at: at[0] == 600))
    import subprocess
    print(subprocess.run(["xdotool", "getmouselocation"], capture_output=True, text=True).stdout)
    put(2, [("lark", 2, 0.3, 0.1)], [("wren", 1)])
    print(*until(lambda at: not at[2]))
    put(3, [("lark", 2, 0.4, 0.1)])
    time.sleep(0.2)
    print(*now())
    put(4, [("wren", 3, 2.4, 0.0)])
    print(*until(lambda at: at[2]))
print(*until(lambda at: not at[2]))
print(outputs.tally, outputs.findings)
"""

PART = """
with open_outputs(["desktop"], display, region=Region(400, 100, 240, 150)) as outputs:
    put(0, [("wren", 1, 1.2, 0.75)])
    print(*until(lambda at: at[2]))
    put(1, [("wren", 1, -9.0, 9.0)])
    print(*until(lambda at: at[0] == 400))
"""

GONE = """
import os, signal
with open_outputs(["desktop"], display) as outputs:
    put(0, [("wren", 1, 1.2, 0.75)])
    until(lambda at: at[2])
    os.kill({server}, signal.SIGKILL)
    time.sleep(0.3)
    for n in range(1, 20):
        put(n, [("wren", 1, 1.2 + 0.01 * n, 0.75)])
        time.sleep(0.01)
print(*[finding.code for finding in outputs.findings])
"""


@pytest.fixture
def desktop(make):
    """Number of an empty desktop of 800 × 600 px, and the process that shows it."""
    for tool in ("Xvfb", "xdotool"):
        if shutil.which(tool) is None:
            make.absent(f"no {tool} here: run `sh tests/install_browser.sh` as root")
    if sys.platform != "linux":
        make.absent("Xvfb shows no desktop here; the desktop's pointer is not tried")
    reading, writing = os.pipe()
    server = subprocess.Popen(
        ["Xvfb", "-displayfd", str(writing), "-screen", "0", "800x600x24", "-nolisten", "tcp"],
        pass_fds=[writing], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    os.close(writing)
    with os.fdopen(reading) as told:
        number = told.readline().strip()
    yield f":{number}", server.pid
    server.terminate()
    server.wait(10)


def run(body, display, server=0):
    folder = os.path.dirname(__file__)
    program = textwrap.dedent(PROGRAM).format(
        folder=folder, body=body.replace("{server}", str(server))
    )
    environment = {**os.environ, "DISPLAY": display, "XAUTHORITY": "/dev/null"}
    return subprocess.run(
        [sys.executable, "-c", program], env=environment, capture_output=True, text=True, timeout=60
    )


def test_one_stylus_moves_and_presses(desktop):
    ran = run(WHOLE, desktop[0])
    assert ran.returncode == 0, ran.stderr
    lines = [line for line in ran.stdout.splitlines() if line]
    # 2.4 m of wall are 800 px, 1.5 m are 600 px.
    assert lines[0] == "400 300 True"
    assert lines[1] == "600 300 True"
    assert lines[2].startswith("x:600 y:300 ")
    assert lines[3] == "600 300 False"
    assert lines[4] == "600 300 False"  # the second stylus was lit before: it stays without
    assert lines[5] == "799 599 True"
    assert lines[6] == "799 599 False"  # the end of the run lets go
    assert lines[7].startswith("{'desktop': (") and lines[7].endswith("[]")


def test_a_region_of_the_desktop(desktop):
    ran = run(PART, desktop[0])
    assert ran.returncode == 0, ran.stderr
    assert ran.stdout.splitlines() == ["520 175 True", "400 100 True"]


def test_a_desktop_that_goes_ends_the_output_and_not_the_run(desktop):
    began = time.monotonic()
    ran = run(GONE, *desktop)
    assert ran.returncode == 0, ran.stderr
    assert ran.stdout.splitlines() == ["output-ended"]
    assert time.monotonic() - began < 30.0


def test_no_desktop_is_told_in_one_sentence():
    if sys.platform != "linux":
        pytest.skip("other systems always have a desktop")
    environment = {k: v for k, v in os.environ.items() if k not in ("DISPLAY", "WAYLAND_DISPLAY")}
    program = (
        "from rushlight.drive.output import Display\n"
        "from rushlight.drive.outputs import open_outputs\n"
        "from rushlight.errors import RushlightError\n"
        "try:\n    open_outputs(['desktop'], Display((1, 1), (1, 1)))\n"
        "except RushlightError as error:\n    print(error)\n"
    )
    ran = subprocess.run(
        [sys.executable, "-c", program], env=environment, capture_output=True, text=True, timeout=60
    )
    assert ran.returncode == 0, ran.stderr
    assert ran.stdout.startswith("output desktop finds no desktop to point on (")
    assert ran.stdout.count("\n") == 1
