"""A bench served by a real process on loopback, and a real Chromium to look at it."""

import contextlib
import http.server
import os
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path
from types import SimpleNamespace

import pytest

from rushlight.bench.live.control import read_place

CHROMIUM = shutil.which("chromium") or "/usr/bin/chromium"
ARGUMENTS = ["--headless", "--no-sandbox", "--disable-gpu", "--force-device-scale-factor=1"]
STARTING_S = 60.0


@contextlib.contextmanager
def chromium(*arguments):
    """A real Chromium, or a loud skip; it keeps a loop running, so no longer than it must."""
    if not os.path.exists(CHROMIUM):
        message = "no Chromium here: run `sh tests/install_browser.sh` as root"
        if os.environ.get("CI") == "true":
            pytest.fail(message)
        pytest.skip(message)
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        started = playwright.chromium.launch(
            executable_path=CHROMIUM, args=[*ARGUMENTS, *arguments]
        )
        yield started
        started.close()


def by_keys_to(page, locator):
    """Press Tab until something has the focus, which must then be seen on it."""
    for _ in range(160):
        page.keyboard.press("Tab")
        if locator.evaluate("each => each === document.activeElement"):
            assert locator.evaluate("each => getComputedStyle(each).outlineStyle") != "none"
            return
    raise AssertionError(f"no key leads to {locator}")


def press(page, locator, key="Enter"):
    """Use a button or a link by keys alone."""
    by_keys_to(page, locator)
    page.keyboard.press(key)


def barriers(page):
    """What axe finds on a page that keeps people out, light and dark: the first words of each."""
    from axe_playwright_python.sync_playwright import Axe

    found = []
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)
        page.wait_for_function(
            "scheme => (document.documentElement.dataset.theme ?? scheme) === scheme", arg=scheme
        )
        found += [
            (scheme, each["id"], [node["html"][:90] for node in each["nodes"]])
            for each in Axe().run(page).response["violations"]
            if each["impact"] in ("serious", "critical")
        ]
    return found


SMALL = """(kinds) => {
  const boxes = "[type=checkbox], [type=radio], [type=file]";
  const target = e => e.matches(boxes) ? e.labels[0] ?? e : e;
  return [...document.querySelectorAll(kinds)].filter(e => e.checkVisibility()).map(e => {
    const {width, height} = target(e).getBoundingClientRect();
    return [Math.min(width, height), e.outerHTML.slice(0, 160)];
  }).filter(([side]) => side < 43.99);
}"""


def small(page, kinds="button, a.button, select, summary, textarea, input"):
    """What is smaller than 44 CSS px either way (W3C, Web Content Accessibility Guidelines 2.2,
    success criterion 2.5.5; from memory), where a label that stands for its box counts as the box:
    side [px] and first words of each."""
    return page.evaluate(SMALL, kinds)


def start_bench(folder, address="127.0.0.1:0", **environment):
    """A served bench: process, address without a trailing slash, folder, and what it says."""
    said = tempfile.TemporaryFile("w+", encoding="utf-8")  # noqa: SIM115  (closed by stop_bench)
    process = subprocess.Popen(
        [sys.executable, "-W", "error", "-m", "rushlight", "bench", str(folder),
         "--address", address, "--no-browser"],
        stderr=said,
        env={**os.environ, **environment},
    )  # fmt: skip
    bench = SimpleNamespace(process=process, url="", folder=folder, said=said)
    until_s = time.monotonic() + STARTING_S
    while time.monotonic() < until_s and process.poll() is None:
        if found := re.search(r"the bench: (http://\S+)/ ", what_it_said(bench)):
            bench.url = found[1]
            return bench
        time.sleep(0.05)
    process.kill()
    process.wait()
    raise AssertionError(f"it did not start: {what_it_said(bench)}")


def what_it_said(bench):
    """All that a bench wrote to its standard error until now."""
    size = os.fstat(bench.said.fileno()).st_size
    return os.pread(bench.said.fileno(), size, 0).decode("utf-8", "replace")


def stop_bench(bench, may_fail=False):
    """End a served bench and its live process; that any of its pages failed is a failure."""
    if (place := read_place(bench.folder)) is not None:
        with contextlib.suppress(OSError):
            os.kill(place.pid, signal.SIGTERM)
    said = what_it_said(bench)  # before its end, which may come in the midst of anything
    bench.process.terminate()
    try:
        bench.process.wait(10)
    except subprocess.TimeoutExpired:
        bench.process.kill()
        bench.process.wait()
    bench.said.close()
    assert may_fail or "Traceback" not in said, said


def workers(bench):
    """The numbers of the desk's processes at work."""
    tasks = Path(f"/proc/{bench.process.pid}/task")
    children = " ".join(each.read_text() for each in tasks.glob("*/children"))
    found = {}
    for child in children.split():
        with contextlib.suppress(OSError):
            found[int(child)] = Path(f"/proc/{child}/cmdline").read_text()
    return [pid for pid, line in found.items() if "spawn_main" in line]


@contextlib.contextmanager
def held(bench):
    """The work stands still, as on a computer that has other things to do."""
    if not os.path.exists("/proc/self/task"):
        pytest.skip("finds the desk's processes by /proc")
    pids = workers(bench)
    assert pids
    for pid in pids:
        os.kill(pid, signal.SIGSTOP)
    try:
        yield
    finally:
        for pid in pids:
            os.kill(pid, signal.SIGCONT)


@contextlib.contextmanager
def held_in_a_frame(address, host="127.0.0.1"):
    """Port of a server on this machine whose page holds another page in a frame."""
    held = f'<!doctype html><iframe src="{address}"></iframe>'.encode()

    class Held(http.server.BaseHTTPRequestHandler):
        def do_GET(self):
            self.send_response(200)
            self.send_header("Content-Type", "text/html")
            self.end_headers()
            self.wfile.write(held)

        def log_message(self, *_):
            pass

    with http.server.ThreadingHTTPServer((host, 0), Held) as server:
        thread = threading.Thread(target=server.serve_forever)
        thread.start()
        try:
            yield server.server_port
        finally:  # else a test that fails would wait for it for ever
            server.shutdown()
            thread.join()
