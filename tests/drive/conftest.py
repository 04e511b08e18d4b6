"""Fixes and a browser for the outputs' tests; nothing here is hardware."""

import os
from types import SimpleNamespace

import numpy as np
import pytest
from tests.served_bench import chromium

from rushlight.drive.output import Display, Results
from rushlight.records.session import Event, Fix


def absent(message):
    """Skip loudly, but fail in CI."""
    if os.environ.get("CI") == "true":
        pytest.fail(message)
    pytest.skip(message)


def fix(carried, trail, x_m, y_m, time_ns, frame=0, **other):
    """A fix on the wall."""
    moments = dict.fromkeys(("capture_ns", "valid_ns", "detect_ns", "map_ns"), time_ns)
    values = {
        **moments, "sent_ns": -1, "frame": frame, "carried": carried, "point": "tip",
        "trail": trail, "dimensions": 2, "surface": "wall", "switch": True, "cameras": ("beam",),
        "predicted": False, "hypotheses": (1.0,), "position_m": np.array([x_m, y_m, np.nan]),
    }  # fmt: skip
    return Fix(**{**values, **other})


def switched(kind, carried, trail, time_ns, frame=0):
    """A light goes on or off."""
    return Event(time_ns, kind, carried, trail, frame)


def results(frame, time_ns, fixes=(), events=()):
    """One frame's."""
    return Results(frame, time_ns, fixes, events)


@pytest.fixture(scope="session")
def make():
    """Makers of fixes, events and results."""
    return SimpleNamespace(fix=fix, switched=switched, results=results, absent=absent)


@pytest.fixture(scope="session")
def display():
    """A wall of 2.4 × 1.5 m, 1200 × 750 px: 500 px a metre."""
    return Display((2.4, 1.5), (1200, 750), "wall")


@pytest.fixture(scope="module")
def browser():
    """A real Chromium, or a loud skip."""
    with chromium() as started:
        yield started


@pytest.fixture
def page(browser):
    """A tab of 1200 × 750 px."""
    context = browser.new_context(viewport={"width": 1200, "height": 750})
    yield context.new_page()
    context.close()
