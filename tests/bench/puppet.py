"""A live process under a test's hand; see `serve_puppet`."""

import contextlib
import json
import os
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

from websockets.sync.client import connect

from rushlight.bench.live.control import read_place

SERVER = Path(__file__).with_name("serve_puppet.py")
EASY = {"compression": None, "max_size": None, "max_queue": None, "ping_interval": None}


def until(true, seconds=60.0):
    """Wait for what comes by itself."""
    end = time.monotonic() + seconds
    while not (found := true()):
        assert time.monotonic() < end, "it did not come"
        time.sleep(0.02)
    return found


class Puppet:
    """A live process under a test's hand."""

    def __init__(self, folder, address="127.0.0.1:0", **environment):
        self.folder = folder
        self.process = subprocess.Popen(
            [sys.executable, str(SERVER), str(folder), address],
            stdout=subprocess.DEVNULL,
            env={**os.environ, **environment},
        )
        self._lines = contextlib.ExitStack()
        try:
            self.place = until(self._place)
            self.desk = self._lines.enter_context(connect(self.place.control_url, **EASY))
        except BaseException:
            self.end()
            raise

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.end()

    def _place(self):
        assert self.process.poll() is None, "it ended"
        place = read_place(self.folder)
        return place if place and place.pid == self.process.pid else None

    def begin(self, rig="wall", act="run", **options):
        """Start the act, anew if it runs, and wait until it runs."""
        order = {"do": "start", "act": act, "rig": rig, "options": options}
        self.desk.send(json.dumps(order))
        self.heard(lambda message: message.get("stage") == "starting")
        self.heard(lambda message: message.get("stage") == "running")
        return self

    def stop(self):
        """End the act, and wait until it has ended."""
        self.desk.send(json.dumps({"do": "stop"}))
        self.heard(lambda message: message.get("stage") == "done")

    def say(self, **message):
        self.desk.send(json.dumps({"do": "say", "message": message}))

    def heard(self, true, seconds=60.0):
        """The desk's first message that is so."""
        end = time.monotonic() + seconds
        while True:
            message = json.loads(self.desk.recv(max(0.01, end - time.monotonic())))
            if true(message):
                return message

    @property
    def url(self):
        """Of its pages, without the last slash."""
        return self.place.url.rstrip("/")

    def state(self):
        with urllib.request.urlopen(f"{self.place.url}state.json", timeout=20) as answer:
            return json.load(answer)

    def kill(self):
        """As if it had crashed."""
        self.process.kill()
        self.process.wait()

    def end(self):
        self._lines.close()
        self.process.terminate()
        self.process.wait(20)
