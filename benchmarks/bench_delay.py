"""How long a light takes from the camera to an event on a page of the bench, at 120 Hz.

A served bench on a copy of the invented barn wall, its camera set to 120 Hz. What the camera films,
two hands that draw, is simulated beforehand and replayed again and again at its own pace, as
``simulated:FOLDER`` does for anybody: a real camera costs no computing of pictures either. All the
rest is as in use: decoding, detecting, linking, mapping, the session on disk, and the pushing to
pages. One headless Chromium shows the planting page of the live process, which notes every pointer
event as its handler runs, and beside it the plan page of the desk: first it stands open, then its
slider is moved about seven times a second, for as long again. An event's ``timeStamp`` is the
moment of its frame's capture, on the page's clock, which pings set; so now minus ``timeStamp`` is
the delay.

A replayed frame is there at the moment of its capture: the half of an exposure, the reading out and
the sending that a real frame takes are not in the figure. The goal allows one frame period for
those, so what is measured here is held against the 8 ms alone.

What is lost is counted from end to end: the numbers of the frames that the camera gave, of those in
which the session kept a place, and of those whose message the page heard. The first places of a
light are kept back until it is known to be one, and are then mapped and told together, as the
newest's: one message, which is heard or not. How many frames wait like that is told as well.

The peer: a bare client of the library websockets, in a process of its own, that hears the same
messages in the same run from the same server, parses them and does nothing else. The ratio is the
page's delay over its.

The goal: with the page open the 95th percentile is 8 ms or less, nothing is lost in a minute, and
the slider's map is drawn anew within 100 ms. While the slider moves the delay is told beside that,
which is more than the goal asks: camera, tracker, desk and browser share this machine. Delays are
judged over the seconds in which it is calm: a process that only sleeps until each frame of such a
camera is due wakes within 1 ms in 95 of 100 cases; where other work holds it, that is said and
nothing is judged. A goal that is missed is told; what fails is, in either part, three times the
delay, or more than one frame in a hundred lost where all seconds were calm. The camera is simulated
and no display took part: what real ones add is not in these figures.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

import numpy as np

import rushlight
from rushlight.bench.live.control import Place, start_live

RATE_HZ = 120.0
REGISTERED_HZ = 20.0
FOOTAGE, SESSION = "strokes", "timed.sqlite"
GOAL_MS, CALM_MS, MOST_TIMES, MOST_LOST = 8.0, 1.0, 3.0, 0.01
GOAL_MAP_MS = 100.0
STEP_S = 0.15
OPEN, MOVED = "the plan page open beside it", "its slider moved all the time"
SETTLING = 60  # events before anything is counted
CHROMIUM = shutil.which("chromium") or "/usr/bin/chromium"
ARGUMENTS = ["--headless", "--no-sandbox", "--disable-gpu"]
SPAWN = multiprocessing.get_context("spawn")
SCENARIO = Path(rushlight.__file__).parent / "jobs" / "scenarios" / "barn-wall"
RIG = "barn-wall"
SLIDER = "[data-slide='cameras[0].position[0]']"

# The frame's number stands at the head of its message; to read it there costs next to nothing.
NOTE = """
window.noted = []; window.heard = [];
window.WebSocket = class extends WebSocket {
  constructor(...given) {
    super(...given);
    this.addEventListener("message", ({data}) => {
      const head = typeof data === "string" && data.match(/^{"is":"frame","frame":(\\d+),/);
      if (head) heard.push(Number(head[1]));
    });
  }
};
addEventListener("pointermove", event => {
  const told = event.rushlight;
  if (told) noted.push([performance.now() - event.timeStamp,
    event.timeStamp + performance.timeOrigin, told.doubt, told.detectTime - event.timeStamp,
    told.mapTime - event.timeStamp, told.sentTime - event.timeStamp]);
}, true);
"""


def rig_at_rate(folder: Path) -> None:
    """The barn wall with a camera at 120 Hz, registered on footage of fewer frames, and filmed."""
    # Here, so that the processes beside the run start without it.
    from rushlight.jobs.register import register
    from rushlight.jobs.simulate import simulate

    shutil.copytree(SCENARIO, folder / RIG)
    file = folder / RIG / "rig.toml"
    text = file.read_text(encoding="utf-8")
    rate, outputs = 'frame_rate = "100 Hz"', 'outputs = ["session", "pointer"]'
    if rate not in text or outputs not in text:
        raise SystemExit(f"{file}: expected {rate} and {outputs}")
    text = text.replace(outputs, 'outputs = ["session"]')
    for rate_hz in (REGISTERED_HZ, RATE_HZ):
        file.write_text(text.replace(rate, f'frame_rate = "{rate_hz:g} Hz"'), encoding="utf-8")
        if rate_hz == REGISTERED_HZ:
            simulate(file, "registration", folder / "footage", seed=5)
            register(folder / "footage", file, folder / RIG / "registration.json")
    shutil.rmtree(folder / "footage")
    simulate(file, FOOTAGE, folder / RIG / FOOTAGE, seed=5)


def sleeper(pipe: Connection) -> None:
    """Wakes at the camera's rate, and tells when it should have and how late it was [s]."""
    noted, due_s = [], time.monotonic()
    while not pipe.poll():
        due_s = max(due_s + 1.0 / RATE_HZ, time.monotonic())
        time.sleep(max(0.0, due_s - time.monotonic()))
        noted.append((due_s, time.monotonic() - due_s))
    pipe.send(noted)


def bare_client(url: str, pipe: Connection) -> None:
    """Hears the same messages; tells moment of capture and delay of each move [ms]."""
    from websockets.sync.client import connect

    noted = []
    with connect(url, compression=None, max_queue=None) as ws:
        pipe.send("connected")
        while not pipe.poll():
            try:
                text = ws.recv(0.1)
            except TimeoutError:
                continue
            now_ms = time.monotonic_ns() * 1e-6
            message = json.loads(text)
            for row in message.get("steps", ()):
                if row[2] == "move" and row[5] is not None:
                    noted.append((now_ms - row[5], row[5]))
    pipe.send(noted)


class Beside:
    """A process beside the run, from its begin to its end."""

    def __init__(self, function: Any, *given: Any) -> None:
        self._pipe, theirs = SPAWN.Pipe()
        self._process = SPAWN.Process(target=function, args=(*given, theirs), daemon=True)
        self._process.start()

    def told(self) -> Any:
        """What it says next."""
        return self._pipe.recv()

    def end(self) -> Any:
        """What it noted."""
        self._pipe.send(None)
        noted = self.told()
        self._process.join(5.0)
        return noted


def state_of(place: Place) -> dict[str, Any]:
    """How the live process says that it stands."""
    import urllib.request

    with urllib.request.urlopen(f"{place.url}state.json", timeout=20) as answer:
        state: dict[str, Any] = json.load(answer)
    return state


def measured(folder: Path, desk_url: str, place: Place, seconds: float) -> dict[str, Any]:
    """One run: events of the page, of the peer and the sleeper's, and the spans of its parts."""
    from playwright.sync_api import sync_playwright
    from websockets.sync.client import connect

    with (
        connect(place.control_url, compression=None, max_queue=None) as desk,
        sync_playwright() as playwright,
    ):
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        size = {"width": 1280, "height": 800}
        plan = browser.new_context(viewport=size).new_page()
        plan.goto(f"{desk_url}rig/{RIG}/plan")
        plan.locator(".room-camera").first.wait_for(timeout=300_000)
        plan.locator(SLIDER).focus()
        shown = browser.new_context(viewport=size).new_page()
        shown.add_init_script(NOTE)
        shown.goto(f"{place.url}planting")
        order = {"do": "start", "act": "run", "rig": RIG, "source": f"simulated:{FOOTAGE}"}
        desk.send(json.dumps({**order, "out": SESSION, "options": {"loop": True}}))
        while json.loads(desk.recv(60)).get("stage") not in ("running", "failed"):
            pass
        peer = Beside(bare_client, f"ws://{place.address}/events")
        peer.told()
        until_s = time.monotonic() + 300.0
        while shown.evaluate("noted.length") < SETTLING:
            state = state_of(place)
            if state["stage"] not in ("starting", "running") or time.monotonic() > until_s:
                raise SystemExit(f"no event reached the page: {state}")
            shown.wait_for_timeout(200)
        plan.keyboard.press("ArrowRight")
        plan.wait_for_timeout(2000)
        wakes = Beside(sleeper)
        opened_s = time.monotonic()
        plan.wait_for_timeout(1e3 * seconds)
        begun_s = time.monotonic()
        plan.evaluate("window.rushlightDelays = []")
        step = 0
        while time.monotonic() < begun_s + seconds:
            plan.keyboard.press("ArrowRight" if step % 40 < 20 else "ArrowLeft")
            plan.wait_for_timeout(1e3 * STEP_S)
            step += 1
        ended_s = time.monotonic()
        after = state_of(place)
        shown.wait_for_timeout(300)
        noted = np.array(shown.evaluate("noted"), float).reshape(-1, 6)
        # The page's clock counts from its own beginning; both are read at once, twice over.
        wall_ms = time.time() * 1e3 - time.monotonic() * 1e3
        page_moments_s = (noted[:, 1] - wall_ms) * 1e-3
        maps = np.array(plan.evaluate("window.rushlightDelays"), float)
        told = {
            "page": np.column_stack([noted[:, 0], page_moments_s]),
            "doubt_ms": float(noted[-1, 2]),
            "stages_ms": noted[:, 3:],
            "heard": set(shown.evaluate("heard")),
            "peer": np.array(peer.end(), float).reshape(-1, 2) * [1.0, 1e-3],
            "wakes": np.array(wakes.end(), float).reshape(-1, 2),
            "after": after,
            "spans_s": {OPEN: (opened_s, begun_s), MOVED: (begun_s, ended_s)},
            "maps_ms": maps,
            "browser": browser.version,
        }
        browser.close()
        desk.send(json.dumps({"do": "stop"}))
        while json.loads(desk.recv(60)).get("is") != "done":
            pass
    return told


def within(moments_s: np.ndarray, span_s: tuple[float, float]) -> np.ndarray:
    """Which of some moments are within a span."""
    return np.asarray((moments_s >= span_s[0]) & (moments_s < span_s[1]))


def percentiles(values: np.ndarray) -> tuple[float, float]:
    """Median and 95th percentile."""
    return float(np.median(values)), float(np.quantile(values, 0.95))


def lost_frames(session: Path, heard: set[int], span_s: tuple[float, float]) -> dict[str, int]:
    """Of the frames that a camera gave in a span: how many, and how many were lost and where.

    Parameters
    ----------
    session
        Of the run.
    heard
        Numbers of the frames that told the page something.
    span_s
        First and last capture, on the host's clock [s].
    """
    from rushlight.keep.session import SessionReader

    with SessionReader(session) as kept:
        frames, fixes = kept.frame_table(), kept.fix_table()
    numbers = frames["frame"][within(frames["capture_ns"] * 1e-9, span_s)]
    if not len(numbers):
        raise SystemExit(f"{session}: no frame of {span_s[1] - span_s[0]:.0f} s was kept")
    placed = set(numbers.tolist()) & set(fixes["frame"].tolist())
    newest: dict[int, int] = {}
    for mapped_ns, frame in zip(fixes["map_ns"].tolist(), fixes["frame"].tolist(), strict=True):
        newest[mapped_ns] = max(frame, newest.get(mapped_ns, frame))
    told = placed & set(newest.values())
    given = int(numbers.max() - numbers.min()) + 1
    return {
        "given": given,
        "dropped": given - len(numbers),
        "waited": len(placed) - len(told),
        "told": len(told),
        "unheard": len(told - heard),
    }


def judged(name: str, told: dict[str, Any], lost: dict[str, int]) -> bool | None:
    """Print what was measured in one part of the run; whether it may pass, None if not judged."""
    span_s = told["spans_s"][name]
    page, peer, wakes = (
        rows[within(rows[:, moment], span_s)]
        for rows, moment in ((told["page"], 1), (told["peer"], 1), (told["wakes"], 0))
    )
    print(f"{name}, {span_s[1] - span_s[0]:.0f} s, {len(page)} moves of two pointers")
    if len(page) < RATE_HZ or len(peer) < RATE_HZ:
        print(f"  FAILED: only {len(page)} events reached the page")
        return False
    calm = np.zeros(len(page), bool)
    seconds = range(int(span_s[0]) + 1, int(span_s[1]))
    still = 0
    for second in seconds:
        awake = wakes[within(wakes[:, 0], (second, second + 1)), 1]
        if len(awake) and np.quantile(awake, 0.95) <= CALM_MS * 1e-3:
            calm |= within(page[:, 1], (second, second + 1))
            still += 1
    ours, bare = percentiles(page[:, 0]), percentiles(peer[:, 0])
    print(f"  page: p50 {ours[0]:.2f} ms, p95 {ours[1]:.2f} ms (clock ±{told['doubt_ms']:.2f} ms)")
    stages_ms = told["stages_ms"][within(told["page"][:, 1], span_s)]
    for stage_name, stage_ms in zip(("detected", "mapped", "sent"), stages_ms.T, strict=True):
        stage = percentiles(stage_ms)
        print(f"    of that, capture to {stage_name}: p50 {stage[0]:.2f} ms, p95 {stage[1]:.2f} ms")
    print(f"  bare client: p50 {bare[0]:.2f} ms, p95 {bare[1]:.2f} ms, {len(peer)} moves")
    print(f"  ratio: p50 {ours[0] / bare[0]:.2f}, p95 {ours[1] / bare[1]:.2f}")
    woke = percentiles(wakes[:, 1] * 1e3)
    print(f"  a process that only sleeps woke late by p50 {woke[0]:.2f} ms, p95 {woke[1]:.2f} ms")
    goal, met = "goal " if name == OPEN else "", lost["dropped"] == lost["unheard"] == 0
    print(f"  {lost['given']} frames given, {lost['dropped']} dropped; {lost['told']} told places, "
          f"{lost['unheard']} of them unheard by the page; {goal}nothing lost: "
          f"{'met' if met else 'NOT MET'}")  # fmt: skip
    print(f"  {lost['waited']} more waited for a light to be known, and left with its next")
    print(f"  p95 from a frame at hand to the event: {ours[1]:.2f} ms over all")
    if calm.sum() < RATE_HZ:
        print("  NOT JUDGED: the machine was busy in nearly every second")
        return None
    p95_ms = percentiles(page[calm, 0])[1]
    words = "met" if p95_ms <= GOAL_MS else "NOT MET"
    print(f"  {p95_ms:.2f} ms in {still} calm of {len(seconds)} seconds; "
          f"{goal}≤ {GOAL_MS:.0f} ms: {words}")  # fmt: skip
    share = max(lost["dropped"] / lost["given"], lost["unheard"] / max(1, lost["told"]))
    if still == len(seconds) and share > MOST_LOST:
        print("  frames or places were lost on a calm machine")
        return False
    return p95_ms <= MOST_TIMES * GOAL_MS


def main() -> int:
    """Read the options."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="some seconds instead of minutes")
    seconds = 8.0 if parser.parse_args().quick else 60.0
    if not Path(CHROMIUM).exists():
        print("no Chromium here: the delay to a browser was NOT measured", file=sys.stderr)
        return 1
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        rig_at_rate(folder)
        words = [sys.executable, "-m", "rushlight", "bench", str(folder), "--no-browser"]
        served = subprocess.Popen(
            [*words, "--address", "127.0.0.1:0"], stderr=subprocess.PIPE, text=True
        )
        live = None
        try:
            assert served.stderr is not None
            desk_url = served.stderr.readline().split("the bench: ")[1].split()[0]
            live = start_live(folder, "127.0.0.1:0")
            told = measured(folder, desk_url, live, seconds)
        finally:
            served.terminate()
            served.wait()
            if live is not None:
                os.kill(live.pid, signal.SIGTERM)
                os.waitpid(live.pid, 0)
        lost = {
            name: lost_frames(folder / RIG / SESSION, told["heard"], span_s)
            for name, span_s in told["spans_s"].items()
        }
    print(f"capture to event at {RATE_HZ:.0f} Hz, barn wall (invented), simulated camera; "
          f"Chromium {told['browser']}")  # fmt: skip
    passed = [judged(name, told, lost[name]) for name in (OPEN, MOVED)]
    maps = told["maps_ms"]
    median_ms = float(np.median(maps)) if len(maps) else float("nan")
    print(f"goal slider to redrawn map ≤ {GOAL_MAP_MS:.0f} ms: {len(maps)} maps on the plan page "
          f"beside it, median {median_ms:.0f} ms: "
          f"{'met' if median_ms <= GOAL_MAP_MS else 'NOT MET'}")  # fmt: skip
    for sentence in (each["sentence"] for each in told["after"].get("findings", ())):
        print(f"said by the run: {sentence}")
    if False in passed:
        print("FAILED")
        return 1
    print("NOT JUDGED" if passed == [None, None] else "passed")
    return 0


if __name__ == "__main__":
    sys.exit(main())
