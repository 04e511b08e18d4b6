"""The lookout in a real browser: every number is held against Python's own projection."""

import base64
import io
import json
import shutil
import struct
import urllib.error
import urllib.request

import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe
from PIL import Image
from playwright.sync_api import expect
from tests.bench.puppet import Puppet
from tests.served_bench import small

from rushlight.drive.views import FAR_M, NEAR_M
from rushlight.jobs.load import load_rig
from rushlight.jobs.theatre import theatre
from rushlight.physics.geometry.offaxis import drawn_at, off_axis
from rushlight.shelf.resolve_space import resolve_space

MARKS = """
schema = "rushlight/scene"
version = 1
name = "marks"
basis = "invented"
backdrop = "#000000"
"""
SIDE_CM = 1.0
PLACES = {"#FF0000": (20.0, 12.0, 0.0), "#00FF00": (36.0, 20.0, -25.0), "#0000FF": (42.0, 9.0, 5.0)}
EYES = [(0.3, 0.2, 1.0), (0.12, 0.25, 0.9), (0.45, 0.1, 1.2), (0.3, 0.3, 0.8)]


def piece(paint, x, y, z):
    s = SIDE_CM
    corners = [(x - s, y - s), (x + s, y - s), (x + s, y + s), (x - s, y + s)]
    outline = ", ".join(f'["{a} cm", "{b} cm"]' for a, b in corners)
    return f'[[pieces]]\nid = "m"\nbefore = "{z} cm"\noutline = [{outline}]\npaint = "{paint}"\n'


@pytest.fixture(scope="module")
def served(tmp_path_factory, serving):
    folder = tmp_path_factory.mktemp("display")
    for name in ("barn-wall", "paper-theatre"):
        shutil.copytree(serving.scenarios / name, folder / name)
    shutil.copytree(serving.scenarios / "paper-theatre", folder / "marks")
    pieces = "\n".join(piece(paint, *place) for paint, place in PLACES.items())
    (folder / "marks" / "scene.toml").write_text(MARKS + pieces)
    with Puppet(folder) as live:
        yield live


def opened(page, served, rig="paper-theatre", more="", start=True):
    page.goto(f"{served.url}/lookout?rig={rig}{more}")
    page.wait_for_selector("body[data-ready]")
    if start:
        page.click("#start")
        page.wait_for_selector("#picture[data-drawn=true]")
    return page


@pytest.fixture
def following(served):
    """A run goes on that can tell where an eye is; it ends, and no page hears of it later."""
    served.begin("paper-theatre")
    yield served
    served.stop()


def test_corners_of_any_screen_come_to_the_corners_of_the_picture(page, served):
    page.goto(served.url)
    rng = np.random.default_rng(11)
    screens, eyes = [], []
    for _ in range(300):
        turn = np.linalg.qr(rng.normal(size=(3, 3)))[0]
        turn *= np.sign(np.linalg.det(turn))
        corner, (w, h) = rng.uniform(-3, 3, 3), rng.uniform(0.1, 4.0, 2)
        screens.append([corner, corner + w * turn[0], corner + h * turn[1]])
        away = [*rng.uniform(-2, 3, 2) * [w, h], rng.uniform(0.1, 5.0)]
        eyes.append(corner + away @ turn)
    screens, eyes = np.array(screens), np.array(eyes)
    found = page.evaluate(
        """async ({screens, eyes, near, far}) => {
          const {offAxis, applied} = await import("/display/offaxis.js");
          return screens.map((screen, i) => {
            const [low, right, up] = screen, found = offAxis(screen, eyes[i], near, far);
            const corners = [low, right, right.map((v, k) => v + up[k] - low[k]), up];
            return {...found, ndc: corners.map(p =>
              applied(found.projection, applied(found.view, p), true))};
          });
        }""",
        {"screens": screens.tolist(), "eyes": eyes.tolist(), "near": NEAR_M, "far": FAR_M},
    )
    ndc = np.array([each["ndc"] for each in found])
    want = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    assert np.abs(ndc[..., :2] - want).max() < 1e-6
    ours = off_axis(screens, eyes, NEAR_M, FAR_M)
    for name in ("projection", "view"):
        theirs = np.array([each[name] for each in found]).reshape(-1, 4, 4)
        np.testing.assert_allclose(theirs, getattr(ours, name), rtol=1e-9, atol=1e-9)


def test_an_eye_behind_the_screen_gets_no_projection(page, served):
    page.goto(served.url)
    assert page.evaluate(
        """async () => (await import("/display/offaxis.js"))
          .offAxis([[0, 0, 0], [1, 0, 0], [0, 1, 0]], [0.5, 0.5, -1], 0.05, 50)"""
    ) is None  # fmt: skip


def picture(page):
    """What is seen once all that was asked for is drawn."""
    page.evaluate(
        "() => new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))"
    )
    return np.asarray(Image.open(io.BytesIO(page.screenshot())).convert("RGB"), float)


def centres(page):
    """Colour of each mark to the centre of its area on the screen [px]."""
    shot = picture(page)
    rows, columns = np.mgrid[0 : shot.shape[0], 0 : shot.shape[1]] + 0.5
    found = {}
    for channel, paint in enumerate(PLACES):
        # Pure colours alone: edges are mixed with black, and nothing else is on the screen.
        others = np.delete(shot, channel, axis=-1).max(axis=-1)
        part = np.where((others < 10) & (shot[..., channel] > 20), shot[..., channel], 0.0)
        assert part.sum() > 0, "the mark is not in the picture"
        found[paint] = np.array([np.sum(columns * part), np.sum(rows * part)]) / part.sum()
    return found


def look_from(page, eye):
    """Put the eye there by the sliders, and wait until the picture is drawn for it."""
    for axis, id in enumerate(("aside", "height", "away")):
        page.eval_on_selector(
            f"#{id}",
            "(slider, value) => { slider.value = value; slider.dispatchEvent(new Event('input')) }",
            eye[axis],
        )
    page.wait_for_function(
        "eye => document.getElementById('picture').dataset.eye === eye.join(' ')", arg=list(eye)
    )


def test_the_picture_is_fixed_in_the_world(browser, served):
    context = browser.new_context(viewport={"width": 1280, "height": 720})
    page = opened(context.new_page(), served, "marks", f"&eye={','.join(map(str, EYES[0]))}")
    page.keyboard.press("h")
    space = resolve_space(*load_rig(served.folder / "marks"))
    screen = space.screens[0]
    frame_m = np.array([0.6, 0.34])
    on_plane = []
    for eye in EYES:
        look_from(page, eye)
        seen = centres(page)
        for paint, place in PLACES.items():
            told = screen.corners_m[0] + np.array(place) / 100
            # The corners of a square behind the screen are drawn as a square about its centre.
            share = drawn_at(told, screen.corners_m, np.array(eye)) / frame_m
            want = np.array([share[0], 1.0 - share[1]]) * [1280, 720]
            assert np.linalg.norm(seen[paint] - want) < 1.0, (paint, eye, seen[paint], want)
        on_plane.append(seen["#FF0000"])
    assert np.ptp(on_plane, axis=0).max() < 1.0
    context.close()


def says(page, words):
    """Wait until the page says so of where the eye comes from."""
    expect(page.locator("#source")).to_contain_text(words, timeout=30_000)


def test_it_says_what_stands_in_for_the_eye(page, following):
    opened(page, following)
    says(page, "No camera: the sliders are the eye.")
    before = page.get_attribute("#picture", "data-eye")
    page.keyboard.press("ArrowLeft")
    page.wait_for_function("b => document.getElementById('picture').dataset.eye !== b", arg=before)
    following.say(views=[{"eye_m": [0.31, 0.22, 0.97]}])
    page.wait_for_function(
        "() => document.getElementById('picture').dataset.eye === '0.31 0.22 0.97'"
    )
    says(page, "The camera finds the eye. Simulated")
    expect(page.locator("#desk")).to_be_hidden()
    following.say(views=None)
    says(page, "The eye is not seen")
    assert page.get_attribute("#picture", "data-eye") == "0.31 0.22 0.97"


def test_what_another_rigs_camera_finds_is_no_eye_of_this_one(page, served):
    served.begin("barn-wall")
    opened(page, served)
    served.say(views=[{"eye_m": [0.31, 0.22, 0.97]}])
    page.evaluate("() => new Promise(done => setTimeout(done, 600))")  # told three times by then
    says(page, "No camera: the sliders are the eye.")
    served.begin("paper-theatre")
    served.say(views=[{"eye_m": [0.31, 0.22, 0.97]}])
    says(page, "The camera finds the eye.")
    served.stop()


def test_motion_begins_still_where_less_motion_is_wished(browser, following):
    context = browser.new_context(reduced_motion="reduce")
    page = opened(context.new_page(), following)
    assert page.get_attribute("#still", "aria-pressed") == "true"
    following.say(views=[{"eye_m": [0.4, 0.2, 1.0]}])
    says(page, "The camera finds the eye.")
    rest = page.get_attribute("#picture", "data-eye")
    assert rest != "0.4 0.2 1"
    # As it says: what does not follow the camera can be moved by hand.
    says(page, "sliders and arrow keys still move it")
    page.keyboard.press("ArrowLeft")
    page.wait_for_function("b => document.getElementById('picture').dataset.eye !== b", arg=rest)
    look_from(page, (0.3, 0.25, 0.9))
    says(page, "The camera finds the eye.")
    page.keyboard.press("s")
    page.wait_for_function("() => document.getElementById('picture').dataset.eye === '0.4 0.2 1'")
    expect(page.locator("#desk")).to_be_hidden()
    context.close()


def glb():
    """One white triangle in a glTF binary, by hand after the glTF 2.0 specification (Khronos)."""
    corners = np.array([[-1, -1, 0], [1, -1, 0], [0, 1, 0]], "<f4").tobytes()
    tree = {
        "asset": {"version": "2.0"}, "scene": 0, "scenes": [{"nodes": [0]}], "nodes": [{"mesh": 0}],
        "meshes": [{"primitives": [{"attributes": {"POSITION": 0}}]}],
        "buffers": [{"byteLength": 36}], "bufferViews": [{"buffer": 0, "byteLength": 36}],
        "accessors": [{"bufferView": 0, "componentType": 5126, "count": 3, "type": "VEC3",
                       "min": [-1, -1, 0], "max": [1, 1, 0]}],
    }  # fmt: skip
    text = json.dumps(tree).encode()
    text += b" " * (-len(text) % 4)
    whole = 12 + 8 + len(text) + 8 + len(corners)
    return (
        struct.pack("<4sII", b"glTF", 2, whole)
        + struct.pack("<I4s", len(text), b"JSON") + text
        + struct.pack("<I4s", len(corners), b"BIN\0") + corners
    )  # fmt: skip


def test_a_model_of_ones_own_is_shown_and_a_broken_one_is_told(page, served):
    opened(page, served, "marks")
    before = picture(page)
    page.set_input_files("#model", {"name": "own.glb", "mimeType": "", "buffer": glb()})
    page.wait_for_function(
        "() => document.getElementById('word').textContent.startsWith('own.glb is')"
    )
    assert np.abs(picture(page) - before).max() > 50
    page.set_input_files("#model", {"name": "bad.glb", "mimeType": "", "buffer": b"nothing"})
    page.wait_for_function(
        "() => document.getElementById('word').textContent.includes('could not')"
    )
    page.click("#back")
    assert page.text_content("#word") == ""


MODEL = {(1.0, 0.0, 0.0): (3.4, -1.6, 0.0), (0.0, 1.0, 0.0): (12.6, 1.6, 6.0),
         (0.0, 0.0, 1.0): (8.4, 0.2, 2.5)}  # fmt: skip
"""Colour to the middle of a square of 0.8 in a model of 10 × 4 × 6, which lies off its origin."""


def gltf(buffer=None):
    """Three squares of pure colour as glTF text (glTF 2.0 and KHR_materials_unlit, Khronos; from
    memory); the buffer lies at another address where one is given."""
    corners = np.array([[-1, -1, 0], [1, -1, 0], [1, 1, 0], [-1, -1, 0], [1, 1, 0], [-1, 1, 0]])
    places = [(np.array(at) + 0.4 * corners).astype("<f4") for at in MODEL.values()]
    raw = b"".join(each.tobytes() for each in places)
    uri = buffer or "data:application/octet-stream;base64," + base64.b64encode(raw).decode()
    meshes, views, accessors, materials = [], [], [], []
    for i, (colour, place) in enumerate(zip(MODEL, places, strict=True)):
        meshes.append({"primitives": [{"attributes": {"POSITION": i}, "material": i}]})
        views.append({"buffer": 0, "byteOffset": 72 * i, "byteLength": 72})
        accessors.append(
            {"bufferView": i, "componentType": 5126, "count": 6, "type": "VEC3",
             "min": place.min(axis=0).tolist(), "max": place.max(axis=0).tolist()}
        )  # fmt: skip
        materials.append(
            {"doubleSided": True, "pbrMetallicRoughness": {"baseColorFactor": [*colour, 1.0]},
             "extensions": {"KHR_materials_unlit": {}}}
        )  # fmt: skip
    tree = {
        "asset": {"version": "2.0"}, "extensionsUsed": ["KHR_materials_unlit"], "scene": 0,
        "scenes": [{"nodes": [0, 1, 2]}], "nodes": [{"mesh": i} for i in range(3)],
        "meshes": meshes, "materials": materials, "accessors": accessors, "bufferViews": views,
        "buffers": [{"byteLength": len(raw), "uri": uri}],
    }  # fmt: skip
    return json.dumps(tree).encode()


def load(page, name, data, word):
    page.set_input_files("#model", {"name": name, "mimeType": "", "buffer": data})
    page.wait_for_function(
        "word => document.getElementById('word').textContent.includes(word)", arg=word
    )


def test_a_model_as_text_is_placed_scaled_and_fixed_in_the_world(browser, served):
    """As large as 0.7 of what holds it, its middle half the scene's depth behind the screen."""
    context = browser.new_context(viewport={"width": 1280, "height": 720})
    page = opened(context.new_page(), served, "marks", f"&eye={','.join(map(str, EYES[0]))}")
    load(page, "own.gltf", gltf(), "own.gltf is")
    page.keyboard.press("h")
    depth_m = theatre(served.folder / "marks" / "rig.toml").as_dict()["depth_m"]
    screen = resolve_space(*load_rig(served.folder / "marks")).screens[0]
    frame_m = np.array([0.6, 0.34])
    scale = 0.7 * min(0.6 / 10, 0.34 / 4, depth_m / 6)
    middle = np.array([0.3, 0.17, -depth_m / 2])
    for eye in EYES:
        look_from(page, eye)
        seen = centres(page)
        for paint, at in zip(PLACES, MODEL.values(), strict=True):
            place = screen.corners_m[0] + middle + scale * (np.array(at) - [8.0, 0.0, 3.0])
            share = drawn_at(place, screen.corners_m, np.array(eye)) / frame_m
            want = np.array([share[0], 1.0 - share[1]]) * [1280, 720]
            assert np.linalg.norm(seen[paint] - want) < 1.0, (paint, eye, seen[paint], want)
    context.close()


@pytest.mark.parametrize("where", ["https://outside.invalid/own.bin", "/theatre.json", "own.bin"])
def test_nothing_is_fetched_that_a_model_names_beside_itself(page, served, where):
    opened(page, served, "marks")
    asked = []
    page.on("request", lambda request: asked.append(request.url))
    load(page, "far.gltf", gltf(where), "could not")
    assert [each for each in asked if not each.startswith(("data:", "blob:"))] == []


def test_the_window_is_begun_only_once_its_cautions_can_be_read(page, served):
    held = []
    page.route("**/theatre.json*", lambda route: held.append(route))
    with page.expect_request("**/theatre.json*"):
        page.goto(f"{served.url}/lookout?rig=paper-theatre")
    assert page.is_disabled("#start") and page.is_disabled("#start-filled")
    held[0].continue_()
    page.wait_for_selector("#start:enabled")
    assert page.locator("#cautions p").count() >= 3


def test_what_cannot_be_shown_is_told_in_a_sentence(page, served):
    page.goto(f"{served.url}/lookout?rig=barn-wall")
    page.wait_for_function("() => document.getElementById('fault').textContent.length > 0")
    assert "follows an eye" in page.text_content("#fault") and page.is_disabled("#start")


def test_no_barrier_is_found(page, served):
    opened(page, served, start=False)
    for begun in (False, True):
        if begun:
            page.click("#start")
            page.wait_for_selector("#picture[data-drawn=true]")
        bad = [
            each["id"]
            for each in Axe().run(page).response["violations"]
            if each["impact"] in ("serious", "critical")
        ]
        assert bad == []
        assert not small(page)


def test_strangers_are_kept_out(served):
    def refused(path, **headers):
        asked = urllib.request.Request(f"{served.url}/{path}", headers=headers)
        with pytest.raises(urllib.error.HTTPError) as told:
            urllib.request.urlopen(asked, timeout=20)
        with told.value as answer:
            return answer.code, answer.read()

    code, told = refused("theatre.json?rig=../marks")
    assert code == 409 and json.loads(told)["findings"][0]["code"]
    assert refused("lookout", Origin="https://a.example")[0] == 403
