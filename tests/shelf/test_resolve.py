"""The rig as numbers: by hand for the example, and what stands in for what it leaves out."""

import math
from pathlib import Path
from statistics import NormalDist

import numpy as np
import pytest

from rushlight.errors import RushlightError
from rushlight.jobs.load import load_rig
from rushlight.physics.geometry import project
from rushlight.physics.surface_model import lens_spread
from rushlight.records.registration import LensCalibration
from rushlight.records.resolved import stack_rigs
from rushlight.shelf.catalogue import built_in_shelf
from rushlight.shelf.optics import filter_transmission, quantum_efficiency
from rushlight.shelf.people import standing_area_m2, standing_middle_m
from rushlight.shelf.resolve import holder, lit_emitters, resolve


@pytest.fixture
def numbers(barn):
    rig, shelf = load_rig(barn)
    return resolve(rig, shelf)


def test_shapes_and_batches(numbers):
    assert len(numbers) == 1
    assert numbers.cameras.K.shape == (1, 1, 3, 3)
    assert numbers.cameras.transmission.shape == (1, 1, 2)
    assert numbers.emitters.axis.shape == (1, 2, 3)
    assert numbers.people.standing_m.shape == (1, 2, 2)
    assert len(stack_rigs([numbers, numbers])) == 2


def test_surface_and_targets(numbers):
    surface, targets = numbers.surface, numbers.targets
    assert surface.size_m.tolist() == [[2.4, 1.5]]
    assert surface.display_px.tolist() == [[1280, 800]]
    assert (surface.floor_m[0], surface.flatness_m[0]) == pytest.approx((0.75, 0.003))
    assert (surface.ambient_w_m2[0], surface.ambient_gradient[0]) == pytest.approx((0.1, 0.3))
    assert targets.worst_error_m[0] == pytest.approx(0.008)
    assert (targets.delay_s[0], targets.coverage[0]) == pytest.approx((0.09, 0.9))


def test_camera(numbers):
    camera = numbers.cameras
    # 4.0 mm over 6.0 µm.
    np.testing.assert_allclose(
        camera.K[0, 0], [[4000 / 6, 0, 319.5], [0, 4000 / 6, 239.5], [0, 0, 1]]
    )
    assert camera.focal_m[0, 0] == pytest.approx(4e-3)
    # 12 ke- over 255 levels less 4 of darkness.
    assert camera.gain_e_per_dn[0, 0] == pytest.approx(12000 / 251)
    assert camera.full_well_e[0, 0] == pytest.approx(12000)
    # Lens 85 %; filter 88 % from 820 nm on and 0.5 % below, of a light of 850 nm, 35 nm wide.
    above = 1.0 - NormalDist(850.0, 35.0 / 2.35482).cdf(820.0)
    passed = 0.88 * above + 0.005 * (1.0 - above)
    np.testing.assert_allclose(camera.transmission[0, 0], 0.85 * passed, rtol=1e-5)
    assert np.all(camera.angle_share == 1.0)  # coloured glass does not shift
    np.testing.assert_allclose(camera.quantum_efficiency[0, 0], 0.28)
    assert camera.row_time_s[0, 0] == 0
    assert math.isnan(camera.exposure_s[0, 0])
    assert camera.distortion[0, 0].tolist() == [-0.08, 0.02, 0, 0, 0]
    assert camera.distortion_std[0, 0].tolist() == [0.05, 0.05, 0.001, 0.001, 0.02]


def test_the_whole_surface_is_in_the_camera_s_view(numbers):
    width, height = numbers.surface.size_m[0]
    x, y = np.meshgrid(np.linspace(0, width, 30), np.linspace(0, height, 30))
    points = np.stack([x, y, np.zeros_like(x)], axis=-1)
    camera = numbers.cameras
    px, _ = project(points, camera.K[0, 0], camera.distortion[0, 0], camera.rig_from_camera[0, 0])
    assert np.all(px > 20)
    assert np.all(px < camera.size_px[0, 0] - 20)


def test_lights(numbers):
    lights = numbers.emitters
    np.testing.assert_allclose(lights.position_m[0], [[0, 0, 0.012]] * 2)
    np.testing.assert_allclose(lights.axis[0], [[0, 0, -1]] * 2)
    # 80 mW/sr at 50 mA, run at 20 mA.
    np.testing.assert_allclose(lights.intensity_w_sr[0], 0.032)
    np.testing.assert_allclose(np.cos(np.radians(17.5)) ** lights.exponent[0], 0.5)
    np.testing.assert_allclose(lights.side_share[0], 0.6)
    np.testing.assert_allclose(lights.transmission[0], 0.6)
    np.testing.assert_allclose(lights.supply_v[0], 3.0)
    np.testing.assert_allclose(np.degrees(lights.tilt_rad[0]), [[10, 40]] * 2)
    np.testing.assert_allclose(np.degrees(lights.lean_rad[0]), [-45, -135])
    np.testing.assert_allclose(np.degrees(lights.lean_std_rad[0]), 35)
    np.testing.assert_allclose(lights.touch_std_m[0], 0.002)


def test_people(numbers):
    people = numbers.people
    np.testing.assert_allclose(people.standing_m[0], [[0.7, 0.45], [1.7, 0.45]])
    assert people.shoulder_m[0].tolist() == [1.36, 1.48]
    assert people.reach_m[0].tolist() == [0.94, 1.02]


def test_a_bare_light_keeps_its_own_side_light(edit):
    folder = edit('diffuser = { transmission = "60 %", spread = "60 %" }\n', "")
    lights = resolve(*load_rig(folder)).emitters
    np.testing.assert_allclose(lights.side_share[0], [0.03, 0.6])
    np.testing.assert_allclose(lights.transmission[0], [1.0, 0.6])


def test_exposure_gain_and_tip_as_typed(edit):
    edit('exposure = "auto"', 'exposure = "250 us"\ngain = 2.0')
    folder = edit(
        'distance_from_tip = "12 mm"\n',
        'position = ["1 mm", "0 mm", "30 mm"]\naxis = [0, 3, -4]\n',
    )
    text = (folder / "rig.toml").read_text("utf-8")
    tip = 'solved_as = "point"\npoints = [{ name = "tip", position = ["0 mm", "0 mm", "5 mm"] }]'
    (folder / "rig.toml").write_text(text.replace('solved_as = "point"', tip, 1), "utf-8")
    numbers = resolve(*load_rig(folder))
    assert numbers.cameras.exposure_s[0, 0] == pytest.approx(250e-6)
    assert numbers.cameras.full_well_e[0, 0] == pytest.approx(6000)
    assert numbers.cameras.gain_e_per_dn[0, 0] == pytest.approx(6000 / 251)
    np.testing.assert_allclose(numbers.emitters.position_m[0, 0], [0.001, 0, 0.025])
    np.testing.assert_allclose(numbers.emitters.axis[0, 0], [0, 0.6, -0.8])


def test_what_is_left_out_is_filled_in_by_rule(edit):
    edit('tilt = ["10 deg", "40 deg"]\n', "")
    edit('cell = "aa-alkaline"\ncells = 2\n', "")
    edit('duty = "30 %"\n', "")
    edit('shoulder_breadth = "0.43 m"\n', "")
    folder = edit('shoulder_height = "1.36 m"\n', "")
    numbers = resolve(*load_rig(folder))
    np.testing.assert_allclose(np.degrees(numbers.emitters.tilt_rad[0, 0]), [10, 40])
    assert math.isnan(numbers.emitters.supply_v[0, 0])
    assert numbers.emitters.duty[0, 0] == pytest.approx(0.3)
    # 82 % and 28 % of 1.66 m, to half a per cent of the stature.
    assert numbers.people.shoulder_m[0, 0] == pytest.approx(0.82 * 1.66, abs=0.005 * 1.66)
    assert numbers.people.breadth_m[0, 0] == pytest.approx(0.28 * 1.66, abs=0.005 * 1.66)


def test_a_steady_light_is_always_on_and_a_lean_as_typed_wins(edit):
    edit('drive = "switched"\nduty = "30 %"', 'drive = "steady"')
    folder = edit(
        'tilt = ["10 deg", "40 deg"]',
        'tilt = ["10 deg", "40 deg"]\nlean = "0 deg"\nlean_spread = "0 deg"',
    )
    lights = resolve(*load_rig(folder)).emitters
    assert lights.duty[0, 0] == 1
    assert (lights.lean_rad[0, 0], lights.lean_std_rad[0, 0]) == (0, 0)


def test_a_stylus_without_person_is_held_by_the_first(edit):
    rig, _ = load_rig(edit('person = "grower-ash"\n', ""))
    assert holder(rig, rig.carried[1]).id == "grower-wren"
    assert [carried.id for carried, _ in lit_emitters(rig)] == ["stylus-wren", "stylus-ash"]


def test_aim_by_angles_agrees_with_looking_at_the_same_point(edit, numbers):
    tilt = math.degrees(math.atan2(0.72 - 1.6, 2.85))
    folder = edit(
        'look_at = ["1.2 m", "0.72 m", "0 m"]',
        f'aim = {{ turn = "0 deg", tilt = "{tilt:.9f} deg" }}',
    )
    turned = resolve(*load_rig(folder)).cameras.rig_from_camera
    np.testing.assert_allclose(turned, numbers.cameras.rig_from_camera, atol=1e-9)


def test_a_lens_calibration_overrides_the_shelf(edit):
    folder = edit('frame_rate = "100 Hz"', 'frame_rate = "100 Hz"\nlens = "lens.json"')
    variances = [1.0, 1.0, 4.0, 4.0, 1e-4, 4e-4, 0.0, 0.0, 9e-4]
    LensCalibration(
        camera="beam",
        params=[660.0, 662.0, 322.0, 241.0, -0.11, 0.03, 0.001, -0.002, 0.004],
        cov=np.diag(variances).tolist(),
        size_px=(640, 480),
        view_rms_px=[0.2, 0.3],
    ).stamped("measured").write(folder / "lens.json")
    camera = resolve(*load_rig(folder)).cameras
    np.testing.assert_allclose(camera.K[0, 0], [[660, 0, 322], [0, 662, 241], [0, 0, 1]])
    np.testing.assert_allclose(camera.distortion[0, 0], [-0.11, 0.03, 0.001, -0.002, 0.004])
    # The doubt of the centre, 2 px of 660, that a plane map does not take up, falls on p1 and p2.
    std = camera.distortion_std[0, 0]
    np.testing.assert_allclose(std[[0, 1, 4]], [0.01, 0.02, 0.03], rtol=0.02)
    assert np.all((std[2:4] > 0) & (std[2:4] < 2 / 660))
    assert camera.focal_m[0, 0] == pytest.approx(660 * 6e-6)


def test_the_correlations_of_a_calibration_reach_the_rig(edit):
    folder = edit('frame_rate = "100 Hz"', 'frame_rate = "100 Hz"\nlens = "lens.json"')
    # A calibration whose k1, k2 and k3 offset one another, as they do.
    known = np.diag([1e-12] * 4 + [1e-4, 4e-4, 1e-8, 1e-8, 9e-4])
    known[4, 5] = known[5, 4] = -0.98 * 0.01 * 0.02
    known[5, 8] = known[8, 5] = -0.98 * 0.02 * 0.03
    known[4, 8] = known[8, 4] = 0.95 * 0.01 * 0.03
    LensCalibration(
        camera="beam",
        params=[660.0, 660.0, 320.0, 240.0, -0.11, 0.03, 0.0, 0.0, 0.0],
        cov=known.tolist(),
        size_px=(640, 480),
        view_rms_px=[0.2],
    ).stamped("measured").write(folder / "lens.json")
    cameras = resolve(*load_rig(folder)).cameras
    spread = lens_spread(cameras.distortion_std[0, 0], cameras.distortion_corr[0, 0])
    np.testing.assert_allclose(spread @ spread.T, known[4:, 4:], rtol=1e-6, atol=1e-12)
    assert not np.diag(cameras.distortion_corr[0, 0]).any()


def test_a_rolling_shutter_keeps_its_row_time(edit):
    edit('frame_rate = "100 Hz"', 'frame_rate = "30 Hz"')
    folder = edit('part = "vga-global-120"\n', 'part = "vga-rolling-30"\n')
    assert resolve(*load_rig(folder)).cameras.row_time_s[0, 0] == pytest.approx(63e-6)


def test_efficiency_and_filters_between_and_beyond_their_data():
    shelf = built_in_shelf()
    camera = shelf.camera("vga-global-120")
    assert quantum_efficiency(camera, 895e-9) == pytest.approx((0.28 + 0.11) / 2)
    assert quantum_efficiency(camera, 960e-9) == pytest.approx(0.11)
    with pytest.raises(ValueError, match="800 to 1000 nm"):
        quantum_efficiency(camera, 1050e-9)
    band, long = shelf.filter("band-850-50"), shelf.filter("long-pass-850")
    assert filter_transmission(None, 850e-9) == 1
    assert filter_transmission(band, 875e-9) == pytest.approx(0.88)
    assert filter_transmission(band, 880e-9) == pytest.approx(0.001)
    assert filter_transmission(long, 940e-9) == pytest.approx(0.88)
    assert filter_transmission(long, 800e-9) == pytest.approx(0.005)


def test_middle_of_a_place_that_is_no_rectangle(barn):
    # An L of 2 × 2 without its upper right quarter: centroid at 5/6, by symmetry and moments.
    person = load_rig(barn)[0].people[0]
    corners = [(0, 0), (2, 0), (2, 1), (1, 1), (1, 2), (0, 2)]
    for outline in (corners, corners[::-1]):
        standing = [[f"{x} m", f"{z} m"] for x, z in outline]
        bent = type(person).model_validate({**person.model_dump(mode="json"), "standing": standing})
        assert standing_area_m2(bent) == pytest.approx(3)
        np.testing.assert_allclose(standing_middle_m(bent), [5 / 6, 5 / 6])


def test_errors_of_the_check_stop_it(edit):
    with pytest.raises(RushlightError) as caught:
        resolve(*load_rig(edit('tilt = ["10 deg", "40 deg"]', 'tilt = ["40 deg", "10 deg"]')))
    assert [each.code for each in caught.value.findings] == ["tilt-reversed"]


def test_other_kinds_are_refused():
    with pytest.raises(RushlightError) as caught:
        resolve(
            *load_rig(Path(__file__).parents[2] / "src/rushlight/jobs/scenarios" / "ferry-model")
        )
    assert str(caught.value) == (
        "rig.toml: kinds = body hold no surface, and this is computed for surface rigs only; give "
        'a rig whose kinds hold "surface".'
    )
