"""Eyes before lights and beams: arrays, distances, pulses, and words that never approve."""

from pathlib import Path

import pytest

from rushlight.jobs.check import check
from rushlight.jobs.load import load_rig
from rushlight.physics.cautions import CAUTIONS, DEFER
from rushlight.plan.beam_light import beam_findings, beam_lines
from rushlight.plan.eyes import GRADED, LONG, eye_lines
from rushlight.plan.power import plan_circuits

ROOT = Path(__file__).parents[2]
BARN_WALL = ROOT / "src/rushlight/jobs/scenarios/barn-wall/rig.toml"
RING = """
[cameras.illuminator]
part = "ir850-5mm-17"
count = 12
current = "50 mA"
ring_radius = "25 mm"
"""


@pytest.fixture
def rig_with(tmp_path):
    def of(*changes):
        text = BARN_WALL.read_text("utf-8")
        for old, new in changes:
            assert old in text
            text = text.replace(old, new, 1)
        (tmp_path / "rig.toml").write_text(text, "utf-8")
        return load_rig(tmp_path / "rig.toml")

    return of


def lines_of(rig, shelf):
    return eye_lines(rig, shelf, plan_circuits(rig, shelf))


def pick(lines, eye, where=GRADED, look=LONG, light=None):
    return next(
        each
        for each in lines
        if (each.eye, each.where, each.look) == (eye, where, look)
        and (light is None or each.light == light)
    )


def test_the_cornea_gets_the_light_of_fresh_cells(rig_with):
    rig, shelf = rig_with()
    fresh = plan_circuits(rig, shelf)[0].branches[0].fresh_a
    part = shelf.emitter("ir850-5mm-17")
    expected = part.intensity.si * fresh / part.test_current.si / 0.2**2
    cornea = pick(lines_of(rig, shelf), "cornea")
    assert cornea.value == pytest.approx(expected) and cornea.limit == 100.0
    assert pick(lines_of(rig, shelf), "lens").ratio == cornea.ratio


def test_a_ring_adds_up_at_the_cornea_and_is_judged_where_people_stand(rig_with):
    rig, shelf = rig_with(('filter = "long-pass-850"\n', 'filter = "long-pass-850"\n' + RING))
    lines = [each for each in lines_of(rig, shelf) if each.light == "illuminator of beam"]
    part = shelf.emitter("ir850-5mm-17")
    one = part.intensity.si * 0.05 / part.test_current.si
    assert pick(lines, "cornea").value == pytest.approx(12 * one / 0.04)
    near = {each.distance_m for each in lines} - {0.2}
    # The lens hangs at z 2.85 m, people stand up to 0.6 m from the wall.
    assert min(near) == pytest.approx(2.25, abs=0.2) and min(near) >= 2.25


def test_a_worn_light_is_judged_at_the_wearers_own_eye():
    rig, shelf = load_rig(ROOT / "examples/records/paper-theatre.toml")
    cap = [each for each in lines_of(rig, shelf) if each.light == "cap"]
    # Lights at ±75 mm, the eye 95 mm below and 30 mm behind.
    near = (0.075**2 + 0.095**2 + 0.030**2) ** 0.5
    assert sorted({each.distance_m for each in cap}) == pytest.approx([near, 0.2])
    assert {each.diodes for each in cap if each.eye == "cornea"} == {2}


def test_pulses_are_judged_one_by_one_together_and_on_average(rig_with):
    steady = 'current = "20 mA"\ndrive = "switched"\nduty = "30 %"\n'
    pulsed = 'current = "100 mA"\ndrive = "pulsed"\nduty = "5 %"\npulse = "1 ms"\n'
    rig, shelf = rig_with((steady, pulsed))
    lines = [each for each in lines_of(rig, shelf) if each.light == "stylus-wren"]
    single = pick(lines, "cornea", look="single pulse")
    train = pick(lines, "cornea", look="pulses within 0.25 s")
    whole = pick(lines, "cornea")
    assert whole.value == pytest.approx(0.05 * single.value)
    assert single.limit == pytest.approx(18_000 * 1e-3**-0.75)
    assert train.limit == pytest.approx(18_000 * (0.05 * 0.25) ** -0.75)
    assert single.ratio < train.ratio
    back = pick(lines, "retina", look="single pulse")
    assert back.limit == pytest.approx(50_000 / (1.7e-3 * 1e-3**0.25))


def test_words_are_bands_with_a_factor_and_never_approve(rig_with):
    rig, shelf = rig_with(('current = "20 mA"', 'current = "100 mA"'))
    words = {each.words for each in lines_of(rig, shelf)}
    assert any(each.startswith("far below (") for each in words)
    assert any(each.startswith("above the limit, as estimated (") for each in words)
    everything = " ".join([*words, *CAUTIONS.values(), DEFER])
    assert "safe" not in everything.lower().replace("unsafe", "safe")


def test_a_child_before_the_beam_is_warned_of(rig_with):
    rig, shelf = rig_with(('id = "grower-wren"\n', 'id = "grower-wren"\nage = 9\n'))
    lines = beam_lines(rig, shelf)
    assert [each.child for each in lines] == [True, False]
    (told,) = beam_findings(lines, "rig.toml")
    assert "keep children out of the beam" in str(told)
    # 3000 lm through the pyramid of the beam, out of a lens of 20 mm: L = Φ/(Ω A).
    assert 1e6 < lines[0].luminance_cd_m2 < 1e8
    assert lines[0].time_limit_s == pytest.approx(1e6 / lines[0].blue_w_m2_sr)


def test_a_monitor_has_no_beam(rig_with):
    rig, shelf = rig_with()
    surface = rig.surfaces[0].model_copy(update={"display": "monitor-fullhd"})
    assert beam_lines(rig.model_copy(update={"surfaces": [surface]}), shelf) == []


def test_check_tells_of_eyes_and_defers(rig_with, tmp_path):
    rig_with(('current = "20 mA"', 'current = "95 mA"'))
    result = check(tmp_path)
    assert result.passed and result.eyes and result.beams
    assert "eye-limit-passed" in [each.code for each in result.findings]
    assert {"eyes", "beams"} <= set(result.as_dict())
