"""A lens calibrated before the running camera: what the desk is told and shown meanwhile."""

import importlib.util
import json
from pathlib import Path

from PIL import Image

from rushlight.bench.live.act_calibrate import calibrate
from rushlight.bench.live.work import Order, Teller

_spec = importlib.util.spec_from_file_location(
    "board_pictures", Path(__file__).parents[1] / "board_pictures.py"
)
board_pictures = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(board_pictures)

VIEWS, SHOWN = 3, 6  # a busy computer misses some


class Heard:
    """Keeps what leaves."""

    def __init__(self):
        self.said, self.states, self.pictures = [], [], []

    def say(self, body):
        self.said.append(body)

    def newest(self, slot, body, more=b""):
        {"state": self.states, "picture": self.pictures}.get(slot, self.said).append(body)


def test_the_next_view_is_told_and_kept_corners_are_shown(tmp_path, monkeypatch):
    from rushlight.capture.open_live import open_live

    place = tmp_path / "shown"
    place.mkdir()
    for i, each in enumerate(board_pictures.NINE[:SHOWN]):
        shown = [
            Image.fromarray(board_pictures.board_picture(each, seed=10 * i + turn))
            for turn in range(2)
        ]
        for repeat in range(36):  # replayed at 30 Hz: held still for over a second
            shown[repeat % 2].save(place / f"{i}-{repeat:02}.png", compress_level=1)
    # The pictures are of no camera on the shelf, whose size a rig would be held to.
    job = "rushlight.jobs.calibrate_live"
    monkeypatch.setattr(f"{job}.open_source", lambda text, *_, **__: open_live(text))
    monkeypatch.setattr(f"{job}.camera_named", lambda *_: ("beam", {}))
    outbox = Heard()
    teller = Teller(outbox)
    teller.view.looking = True
    order = Order(
        "calibrate", tmp_path, f"footage:{place}", str(tmp_path / "lens.json"),
        {"check_line": "99 mm", "views": VIEWS},
    )  # fmt: skip
    result = calibrate(order, teller)
    teller.view.close()
    words = [state["calibrate"]["words"] for state in outbox.states]
    assert words[0].startswith("first: hold the board")
    assert words[-1] == f"view {VIEWS} of {VIEWS} kept: enough"
    assert any(body["is"] == "begun" for body in outbox.said)
    corners = board_pictures.COLUMNS * board_pictures.ROWS
    counts = [len(picture["dots"]) for picture in outbox.pictures]
    assert max(counts) >= 2 * corners and not any(count % corners for count in counts)
    kept = json.loads((tmp_path / "lens.told.json").read_text())
    assert kept["verb"] == "calibrate" and kept["told"] == result.as_dict()
