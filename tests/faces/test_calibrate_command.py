"""The verb calibrate: a target to print, and pictures of it, as a user types them."""

import importlib.util
import json
import re
import shutil
import subprocess
import sys
from pathlib import Path

import av
import numpy as np
import pytest
import typer
from PIL import Image
from typer.testing import CliRunner

from rushlight.cli.calibrate import calibrate
from rushlight.errors import RushlightError
from rushlight.jobs.calibrate import calibrate_gathered, guide
from rushlight.jobs.load import load_rig
from rushlight.publish.target import CHECK_MM, PAPERS_MM, SQUARE_MM, Box, target_shapes
from rushlight.records.document import read_document
from rushlight.records.registration import LensCalibration
from rushlight.register.lens_views import Board, gather, look
from rushlight.shelf.resolve import resolve

_spec = importlib.util.spec_from_file_location(
    "board_pictures", Path(__file__).parents[1] / "board_pictures.py"
)
board_pictures = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(board_pictures)
BARN_WALL = Path(__file__).parents[2] / "src/rushlight/jobs/scenarios/barn-wall"

app = typer.Typer()
app.command()(calibrate)


def run(*arguments):
    return CliRunner(env={"COLUMNS": "160"}).invoke(app, [str(each) for each in arguments])


def sentence(*arguments):
    """The one sentence with which a wrong input is refused."""
    result = run(*arguments)
    assert isinstance(result.exception, RushlightError), result.output
    assert len(result.exception.findings) == 1
    return str(result.exception.findings[0])


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Nine computed pictures of the board, and a note that is no picture."""
    place = tmp_path_factory.mktemp("lens") / "pictures"
    place.mkdir()
    for i, each in enumerate(board_pictures.NINE, 1):
        Image.fromarray(board_pictures.board_picture(each, seed=i)).save(place / f"board{i}.png")
    (place / "note.txt").write_text("invented")
    return place


def test_pictures_become_a_lens_that_is_vouched_for(folder, tmp_path):
    out = tmp_path / "lens.json"
    result = run(
        "--pictures", folder, "--check-line", "99 mm", "--camera", "beam", "--out", out
    )  # fmt: skip
    assert result.exit_code == 0, result.output
    assert "lens of beam from measured views" in result.output
    assert "most would be gained by one more view: hold the board" in result.output
    assert " board9 " in result.output and 'lens = "lens.json"' in result.output
    made = read_document(LensCalibration, out)
    assert made.camera == "beam" and made.verdict.vouched and len(made.views) == 9
    assert made.square_m == pytest.approx((0.02178, 0.02178))
    assert set(made.header.inputs) == {"pictures"}
    error = np.array(made.params) - board_pictures.TRUE
    assert error @ np.linalg.solve(np.array(made.cov), error) < 27.9
    assert out.with_suffix(".png").read_bytes()[:4] == b"\x89PNG"


def test_a_running_camera_is_asked_for_one_view_after_the_other(tmp_path):
    """Replayed pictures stand for the camera: each view held still for over a second."""
    place = tmp_path / "shown"
    place.mkdir()
    for i, each in enumerate(board_pictures.NINE):
        shown = [
            Image.fromarray(board_pictures.board_picture(each, seed=10 * i + turn))
            for turn in range(2)
        ]
        for repeat in range(36):
            shown[repeat % 2].save(place / f"{i}-{repeat:02}.png", compress_level=1)
    out = tmp_path / "lens.json"
    result = run(
        "--live", f"footage:{place}", "--check-line", "99 mm", "--for", "60 s", "--out", out
    )  # fmt: skip
    assert result.exit_code == 0, result.output
    assert "first: hold the board" in result.output
    assert result.output.count(" kept; next: hold the board") >= 6
    made = read_document(LensCalibration, out)
    assert made.verdict.vouched
    error = np.array(made.params) - board_pictures.TRUE
    assert error @ np.linalg.solve(np.array(made.cov), error) < 27.9  # chi-squared, 9, 0.999


def test_the_same_as_json(folder, tmp_path):
    result = run(
        "--pictures", folder, "--not-to-scale", "--json", "--leave-out", "board3.png",
        "--out", tmp_path / "lens.json",
    )  # fmt: skip
    told = json.loads(result.stdout)
    assert told["vouched"] and len(told["views"]) == 8
    assert [each["name"] for each in told["parameters"]][:4] == ["fx", "fy", "cx", "cy"]
    assert all(view["range_m"] is None for view in told["views"])
    assert "board-not-to-scale" in {each["code"] for each in told["findings"]}


def test_a_lens_from_too_few_views_is_written_but_not_vouched_for(folder, tmp_path):
    few = tmp_path / "few"
    few.mkdir()
    for number in (1, 2, 3, 4):
        shutil.copy(folder / f"board{number}.png", few)
    Image.fromarray(board_pictures.board_picture(None)).save(few / "empty.png")
    out = tmp_path / "lens.json"
    result = run("--pictures", few, "--square", "22 mm", "--out", out)
    assert result.exit_code == 1
    assert "NOT vouched for" in result.output and "4 views are used" in result.output
    assert "empty.png was passed over: no whole board" in result.output
    assert "to use it" not in result.output
    assert not read_document(LensCalibration, out).verdict.vouched


def test_the_rig_takes_the_lens_with_its_doubt(folder, tmp_path):
    """A rig's camera of the pictures' size; its lens is then the calibrated one."""
    shutil.copytree(BARN_WALL, tmp_path / "barn")
    rig = tmp_path / "barn" / "rig.toml"
    wide, high = load_rig(rig)[1].camera(load_rig(rig)[0].cameras[0].part).size_px
    assert "is not the picture size of camera" in sentence(
        "--pictures", folder, "--not-to-scale", "--rig", rig, "--out", tmp_path / "x.json"
    )
    camera = load_rig(rig)[0].cameras[0].id
    out = tmp_path / "barn" / "lens.json"
    assert run("--pictures", folder, "--not-to-scale", "--camera", camera,
               "--out", out).exit_code == 0  # fmt: skip
    made = read_document(LensCalibration, out)
    # The computed pictures are smaller than the rig's: the numbers are taken over as they are.
    made.model_copy(update={"size_px": (wide, high)}).stamped("invented").write(out)
    rig.write_text(re.sub(r"(\[\[cameras\]\]\n)", r'\1lens = "lens.json"\n', rig.read_text()))
    cameras = resolve(*load_rig(rig)).cameras
    np.testing.assert_allclose(cameras.distortion[0, 0], made.params[4:])
    assert cameras.K[0, 0, 0, 0] == pytest.approx(made.params[0])
    # k1 and k2 offset one another, and the rig knows.
    assert cameras.distortion_corr[0, 0, 0, 1] < -0.5
    assert np.all(cameras.distortion_std[0, 0] > 0)


def test_footage_of_a_board_that_is_moved_and_held_still(tmp_path):
    """Each view stands for three frames; one of the three is taken."""
    film = tmp_path / "board.mkv"
    wide, high = board_pictures.SIZE
    with av.open(str(film), "w") as container:
        stream = container.add_stream("ffv1", rate=10)
        stream.width, stream.height, stream.pix_fmt = wide, high, "gray"
        for i, each in enumerate(board_pictures.NINE):
            image = board_pictures.board_picture(each, seed=i)
            for _ in range(3):
                container.mux(stream.encode(av.VideoFrame.from_ndarray(image, format="gray")))
        container.mux(stream.encode())
    result = run("--pictures", film, "--not-to-scale", "--json", "--out", tmp_path / "lens.json")
    told = json.loads(result.stdout)
    assert told["vouched"] and [view["name"] for view in told["views"]][:3] == [
        "frame 1", "frame 4", "frame 7"
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        ([], "calibrate needs one of --target, --pictures and --live"),
        (["--target", "x.png"], "--target = x.png is neither PDF nor SVG"),
        (["--pictures", "PICTURES"], "--check-line is missing: the print's scale is not known"),
        (["--pictures", "nowhere", "--not-to-scale"], "nowhere does not exist"),
        (["--pictures", "PICTURES", "--check-line", "99,2 mm"], "uses a comma"),
        (["--pictures", "PICTURES", "--check-line", "99"], 'write "99 mm".'),
        (["--pictures", "PICTURES", "--check-line", "50 mm"], "is far from the 100 mm"),
        (["--pictures", "PICTURES", "--check-line-up", "99 mm"], "stands alone"),
        (["--pictures", "PICTURES", "--square", "-3 mm"], "--square"),
        (
            ["--pictures", "PICTURES", "--check-line", "99 mm", "--not-to-scale"],
            "--not-to-scale contradicts --check-line",
        ),
        (
            ["--pictures", "PICTURES", "--check-line", "99 mm", "--square", "22 mm"],
            "tells the scale a second time",
        ),
        (
            ["--pictures", "PICTURES", "--check-line", "99 mm", "--corners", "7x5"],
            "--corners = 7x5 is a board of your own",
        ),
        (["--pictures", "PICTURES", "--not-to-scale", "--corners", "nine"], "--corners = nine"),
        (["--pictures", "PICTURES", "--not-to-scale", "--window", "6"], "none of the half-windows"),
        (
            ["--pictures", "PICTURES", "--not-to-scale", "--leave-out", "board99.png"],
            "--leave-out = board99.png is no picture of",
        ),
        (["--target", "x.pdf", "--pictures", "PICTURES"], "--pictures does nothing with --target"),
        (["--live", "camera:0", "--window", "5"], "--window does nothing with --live"),
        (["--pictures", "PICTURES", "--for", "9 s"], "--for does nothing with --pictures"),
        (
            ["--pictures", "PICTURES", "--not-to-scale", "--corners", "10x7"],
            "views = 0 of a board of 10 × 7 inner corners are too few",
        ),
    ],
)
def test_wrong_inputs_are_refused_in_one_sentence(arguments, told, folder, tmp_path):
    typed = [str(folder) if each == "PICTURES" else each for each in arguments]
    assert told in sentence(*typed, "--out", tmp_path / "lens.json")
    assert not (tmp_path / "lens.json").exists()


def test_wrong_input_ends_with_exit_code_two():
    code = (
        "import sys, rushlight.cli as cli; from rushlight.cli.calibrate import calibrate; "
        "'calibrate' in cli.VERBS or cli.app.command('calibrate')(calibrate); "
        "sys.argv = ['rushlight', 'calibrate']; cli.main()"
    )
    shown = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert shown.returncode == 2
    assert shown.stderr.strip() == (
        "calibrate needs one of --target, --pictures and --live; give one of them."
    )


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_target_is_true_to_scale_in_both_forms(paper, tmp_path):
    wide, high = PAPERS_MM[paper]
    for name in ("target.svg", "target.pdf"):
        result = run("--target", tmp_path / name, "--paper", paper)
        assert result.exit_code == 0 and "vanish in the infrared" in result.output
    svg = (tmp_path / "target.svg").read_text()
    assert f'width="{wide:g}mm" height="{high:g}mm" viewBox="0 0 {wide:g} {high:g}"' in svg
    pdf = (tmp_path / "target.pdf").read_bytes()
    box = re.search(rb"/MediaBox \[0 0 ([0-9.]+) ([0-9.]+)\]", pdf)
    # A point is 1/72 inch.
    assert float(box[1]) == pytest.approx(wide / 25.4 * 72, abs=0.001)
    assert float(box[2]) == pytest.approx(high / 25.4 * 72, abs=0.001)
    sides = re.findall(rb"^([0-9.]+) ([0-9.]+) ([0-9.]+) ([0-9.]+) re f$", pdf, re.MULTILINE)
    squares = [each for each in sides if each[2] == each[3]]
    assert len(squares) == 35
    assert float(squares[0][2]) == pytest.approx(SQUARE_MM / 25.4 * 72, abs=0.001)
    long = [max(float(each[2]), float(each[3])) for each in sides if each[2] != each[3]]
    assert sorted(long)[-2:] == pytest.approx([CHECK_MM / 25.4 * 72] * 2, abs=0.001)
    for words in (b"infrared", b"ruler", b"ladder", b"100 %"):
        assert words in pdf and words.decode() in svg
    start = int(re.search(rb"startxref\n(\d+)", pdf)[1])
    assert pdf[start : start + 4] == b"xref"


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_printed_target_is_found_where_it_was_drawn(paper):
    """The sheet drawn at 4 pixels a millimetre: corners where the squares meet."""
    scale = 4.0
    wide, high = (round(side * scale) for side in PAPERS_MM[paper])
    fine = np.full((high * 2, wide * 2), 255, np.uint8)
    boxes = [each for each in target_shapes(paper) if isinstance(each, Box)]
    for box in boxes:
        x, y, right, low = (
            round(each * scale * 2)
            for each in (box.x, box.y, box.x + box.width, box.y + box.height)
        )
        fine[y:low, x:right] = 20
    sheet = fine.reshape(high, 2, wide, 2).mean(axis=(1, 3)).astype(np.uint8)
    view = look(sheet, "sheet", Board())
    assert view is not None
    squares = [box for box in boxes if box.width == box.height == SQUARE_MM]
    first = np.array([min(box.x for box in squares), min(box.y for box in squares)])
    x, y = np.meshgrid(np.arange(1, 10), np.arange(1, 7))
    drawn = (first + SQUARE_MM * np.stack([x, y], axis=-1).reshape(-1, 2)) * scale - 0.5
    # The sheet was drawn to the half pixel.
    np.testing.assert_allclose(view.corners(5), drawn, atol=0.27)


def test_a_live_camera_is_guided_view_by_view(tmp_path):
    """Frames as a live camera gives them: each board twice, since it must be held still."""
    board = Board(9, 6, (0.022, 0.022), to_scale=True)
    frames = [
        (f"frame {i}", board_pictures.board_picture(each, seed=i))
        for i, each in enumerate(np.repeat(board_pictures.NINE, 2, axis=0))
    ]
    early = gather(frames[:4], board)
    assert len(early.views) == 2 and "in the middle" in guide(early, board_pictures.SIZE).words
    whole = gather(frames, board)
    assert len(whole.views) >= 7
    assert guide(whole, board_pictures.SIZE).doubt_then_px > 0
    result = calibrate_gathered(
        whole, board_pictures.SIZE, "beam", tmp_path / "lens.json", basis="simulated"
    )
    assert result.vouched and result.as_dict()["basis"] == "simulated"
    with pytest.raises(RushlightError, match="are too few to tell a lens"):
        calibrate_gathered(early, board_pictures.SIZE, "beam", tmp_path / "other.json")


def test_views_that_all_face_the_camera_are_refused(tmp_path):
    board = Board(9, 6, (0.022, 0.022))
    flat = [
        (f"picture {i}", board_pictures.board_picture(each, noise_dn=0.5, seed=i))
        for i, each in enumerate(board_pictures.FLAT[::2])
    ]
    gathered = gather(flat, board, moving=False)
    try:
        result = calibrate_gathered(gathered, board_pictures.SIZE, "beam", tmp_path / "lens.json")
    except RushlightError as refused:
        assert "tell no lens" in str(refused)
    else:
        # Noise may feign a focal length: it is not vouched for.
        assert not result.vouched
        assert "views-flat" in {each.code for each in result.findings}
