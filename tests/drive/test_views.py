"""Matrices for renderers: what is told, and a renderer's own arithmetic on what it reads."""

import io
import json
import re
from pathlib import Path

import numpy as np
import pytest

from rushlight.drive.output import Results
from rushlight.drive.outputs import open_outputs
from rushlight.drive.views import FRAMES_THAT_WAIT, ViewsOutput, view_of
from rushlight.errors import RushlightError
from rushlight.records.space import Screen

PAGE = (Path(__file__).parents[2] / "docs" / "outputs.md").read_text()
STAGE = Screen(
    "stage", 60.0, 0.025,
    np.array([[-0.2, -0.15, 0.0], [0.2, -0.15, 0.0], [-0.2, 0.15, 0.0]]), np.array([1920, 1080.0]),
)  # fmt: skip
SIDE = Screen(
    "side", 60.0, 0.025,
    np.array([[-0.5, 0.0, 0.3], [0.3, 0.0, -0.3], [-0.5, 0.6, 0.3]]), np.array([1280, 960.0]),
)  # fmt: skip
SCENE_M = np.array([0.06, 0.2])


def _eye(make, place=(0.1, 0.05, 0.5), **other):
    cov = np.full((6, 6), np.nan)
    cov[:3, :3] = np.diag([1e-6, 1e-6, 16e-6])
    return make.fix(
        "cap", 3, 0.0, 0.0, 5_125_000_000, 41,
        **{"dimensions": 3, "surface": None, "point": "eye", "cov": cov,
           "position_m": np.array(place), **other},
    )  # fmt: skip


def _told(display, results, screens=(STAGE, SIDE), scene_m=SCENE_M):
    stream = io.StringIO()
    output = ViewsOutput(screens, scene_m, display, stream)
    for each in results:
        output.put(each, [])
    output.close()
    return [json.loads(line) for line in stream.getvalue().splitlines()], output


def test_a_renderer_that_reads_the_lines_draws_where_the_line_of_sight_meets_the_screen(
    display, make
):
    eye = np.array([0.2, 0.4, 1.0])
    [line], _ = _told(display, [make.results(41, 7, [_eye(make, eye)])])
    [view] = line["views"]
    assert [each["surface"] for each in view["screens"]] == ["stage", "side"]
    rng = np.random.default_rng(1)
    for screen, told in zip((STAGE, SIDE), view["screens"], strict=True):
        corner, right, up = screen.corners_m
        right, up = right - corner, up - corner
        matrix = np.array(told["clip_from_eye"]) @ np.array(told["eye_from_rig"])
        for _ in range(50):
            share = rng.uniform(0.0, 1.0, 2)
            spot = corner + share[0] * right + share[1] * up
            point = eye + rng.uniform(0.3, 3.0) * (spot - eye)  # before or behind the screen
            clip = matrix @ [*point, 1.0]
            np.testing.assert_allclose(clip[:2] / clip[3], 2.0 * share - 1.0, atol=1e-9)


def test_frames_without_an_eye_are_left_out(display, make):
    lines, output = _told(
        display,
        [
            make.results(1, 1, [make.fix("wren", 1, 0.5, 0.5, 1)]),
            make.results(2, 2, [_eye(make, point="brim")]),
            make.results(3, 3, [], [make.switched("drop", None, -1, 3)]),
            make.results(4, 4, [_eye(make)]),
        ],
    )
    assert [line["frame"] for line in lines] == [4]
    assert (output.sent, output.lost) == (1, 0)


def test_an_eye_behind_a_screen_has_no_picture_there(display, make):
    [line], _ = _told(display, [make.results(1, 1, [_eye(make, (0.1, 0.05, -0.2))])])
    stage, side = line["views"][0]["screens"]
    assert stage["frustum_m"] == [None] * 4
    assert stage["clip_from_eye"] == [[None] * 4] * 4
    assert side["clip_from_eye"] == [[None] * 4] * 4


def test_doubt_of_the_eye_moves_the_picture_as_drawing_anew_does(make):
    """By Monte Carlo through the matrices, not through the slope."""
    fix = _eye(make, (0.05, 0.02, 0.8))
    view = view_of(fix, [STAGE], SCENE_M)
    rng = np.random.default_rng(2)
    eyes = rng.multivariate_normal(fix.position_m, fix.cov[:3, :3], 4000)
    for i, point in enumerate(([0.0, 0.0, 0.06], [0.0, 0.0, -0.2])):
        drawn = []
        for eye in eyes:
            one = view_of(_eye(make, eye), [STAGE])
            clip = one.projection[0] @ one.view[0] @ [*point, 1.0]
            drawn.append(clip[:2] / clip[3] * [0.2, 0.15])
        spread = np.sqrt(np.mean(np.var(drawn, axis=0)))
        # Of 2 × 4000 draws the deviation is known to 1/√16000 = 0.8 %; four times that.
        assert view.doubt_m[0, i] == pytest.approx(spread, rel=0.032)


def test_without_scene_or_covariance_there_is_no_doubt(make):
    assert np.isnan(view_of(_eye(make), [STAGE]).doubt_m).all()
    assert np.isnan(
        view_of(_eye(make, cov=np.full((6, 6), np.nan)), [STAGE], SCENE_M).doubt_m
    ).all()


class Stuck(io.StringIO):
    """Takes nothing until it is let."""

    def __init__(self):
        super().__init__()
        import threading

        self.let = threading.Event()

    def write(self, text):
        self.let.wait(20.0)
        return super().write(text)


def test_a_slow_renderer_gets_the_newest(display, make):
    stream = Stuck()
    output = ViewsOutput([STAGE], SCENE_M, display, stream)
    for n in range(40):
        output.put(Results(n, n, [_eye(make)]), [])
    stream.let.set()
    output.close()
    frames = [json.loads(line)["frame"] for line in stream.getvalue().splitlines()]
    assert frames[-FRAMES_THAT_WAIT:] == [38, 39]
    assert output.sent + output.lost == 40
    assert output.sent <= FRAMES_THAT_WAIT + 1


def test_lines_and_views_share_a_stream_line_by_line(display, make):
    stream = io.StringIO()
    with open_outputs(
        ["lines", "views"], display, stream=stream, screens=[STAGE], scene_m=SCENE_M
    ) as outputs:
        for n in range(30):
            outputs.put(make.results(n, n, [_eye(make)]))
    told = [json.loads(line) for line in stream.getvalue().splitlines()]
    assert sum("fixes" in each for each in told) == 30
    assert 0 < sum("views" in each for each in told) <= 30


def test_a_rig_without_screens_is_refused(display):
    with pytest.raises(RushlightError, match="draws on a screen"):
        open_outputs(["views"], display)


def test_the_example_on_the_page(display, make):
    shown = json.loads(re.findall(r"```json\n(.*?)\n```", PAGE, re.DOTALL)[-1])
    [line], _ = _told(display, [make.results(41, 5_125_000_000, [_eye(make)])], [STAGE])

    def rounded(value):
        if isinstance(value, dict):
            return {name: rounded(each) for name, each in value.items() if name != "sent_ns"}
        if isinstance(value, list):
            return [rounded(each) for each in value]
        return round(value, 6) if isinstance(value, float) else value

    assert rounded(line) == rounded(shown)
