"""Lights that cannot be fed as the rig has it: each is answered by one sentence."""

import pytest

from rushlight.jobs.check import check
from rushlight.shelf.check_power import bearable_w, warmest_c

CURRENT = 'current = "20 mA"\n'
DRIVE = 'drive = "switched"\nduty = "30 %"\n'
ANCHOR = """
[[anchors]]
id = "post"
part = "ir850-3mm-20"
position = ["0 m", "1 m", "0.1 m"]
current = "20 mA"
"""
RING = """
[cameras.illuminator]
part = "ir850-5mm-17"
count = 12
current = "50 mA"
ring_radius = "25 mm"
"""
WRONG = {
    "strings on one resistor": (
        CURRENT,
        CURRENT + 'wiring = { strings = 2, resistor = "shared" }\n',
        'rig.toml: carried[0].emitters[0].wiring.resistor = "shared" sets 2 strings side by side '
        "on one resistor, where the diode that needs least voltage takes most current: of 40 mA, "
        "two that differ by 0.1 V take 31 and 9.3 mA, and the warmer one takes ever more; give "
        'each string its own, with resistor = "each-string", or set the diodes in series.',
    ),
    "too many in series": (
        CURRENT,
        CURRENT + "wiring = { in_series = 3 }\n",
        'rig.toml: carried[0].cell = "aa-alkaline" gives 3 V (2 × aa-alkaline), and 3 × '
        "ir850-5mm-17 need 4.5 V to shine; use cells = 4 or more, fewer diodes in series, or "
        "another supply.",
    ),
    "no length of a strong pulse": (
        CURRENT + DRIVE,
        'current = "150 mA"\ndrive = "pulsed"\nduty = "1 %"\n',
        "rig.toml: carried[0].emitters[0].pulse is missing, and ir850-5mm-17 bears 150 mA in short "
        'pulses only; add the length of a pulse, such as pulse = "100 µs", or use "100 mA", which '
        "it bears steadily.",
    ),
    "too long a pulse": (
        CURRENT + DRIVE,
        'current = "150 mA"\ndrive = "pulsed"\nduty = "1 %"\npulse = "1 ms"\n',
        'rig.toml: carried[0].emitters[0].pulse = "1000 µs" with a duty of 1 % is more than '
        "ir850-5mm-17 bears at 150 mA, which is 100 µs at a time and 50 % of the time; shorten "
        'pulse and duty, or use "100 mA", which it bears steadily.',
    ),
    "too strong a pulse": (
        CURRENT + DRIVE,
        'current = "400 mA"\ndrive = "pulsed"\nduty = "1 %"\npulse = "50 us"\n',
        'rig.toml: carried[0].emitters[0].current = "400 mA" is above the 200 mA that ir850-5mm-17 '
        'bears even in pulses; use "200 mA" or less for 100 µs at a time and 50 % of the time.',
    ),
    "coin cell for short pulses": (
        CURRENT + DRIVE,
        'current = "50 mA"\ndrive = "pulsed"\nduty = "1 %"\npulse = "1 ms"\n',
        'rig.toml: carried[0].cell = "cr2032" gives 3 mA steadily and 15 mA in pulses, and the '
        "lights draw 50 mA in pulses and 0.5 mA on average; use a stronger cell or less current.",
    ),
    "a ring that is more than its supply": (
        'filter = "long-pass-850"\n',
        'filter = "long-pass-850"\n'
        + RING
        + 'feed = { part = "usb-supply" }\nwiring = { in_series = 1, strings = 12 }\n',
        'rig.toml: cameras[0].illuminator.feed.part = "usb-supply" gives 500 mA steadily, and the '
        "lights draw 600 mA; use a stronger cell or less current.",
    ),
    "a ring that is not wired whole": (
        'filter = "long-pass-850"\n',
        'filter = "long-pass-850"\n' + RING + "wiring = { in_series = 3, strings = 3 }\n",
        "rig.toml: cameras[0].illuminator.wiring joins 9 diodes, and the illuminator has 12; make "
        "in_series times strings equal to count.",
    ),
    "an anchor's unknown supply": (
        "[targets]",
        ANCHOR + 'feed = { part = "usb-suply" }\n\n[targets]',
        'rig.toml: anchors[0].feed.part = "usb-suply" is not a cell on the shelf; write '
        '"usb-supply" if that is meant.',
    ),
    "a hot barn": (
        "[room]\n",
        '[room]\ntemperature = "98 °C"\n',
        'rig.toml: carried[0].emitters[0].current = "20 mA" makes 30 mW of heat and light, more '
        "than the 7.41 mW that ir850-5mm-17 bears in air of 98 °C",
    ),
    "a temperature without its unit": (
        "[room]\n",
        '[room]\ntemperature = "30 K"\n',
        'rig.toml: room.temperature = "30 K" is a temperature difference where a temperature is '
        "needed; use one of °C, degC, C.",
    ),
}


@pytest.mark.parametrize("case", list(WRONG))
def test_a_light_that_cannot_be_fed_is_refused(case, sentences, edit):
    old, new, expected = WRONG[case]
    if case.startswith("coin"):
        edit('cell = "aa-alkaline"\ncells = 2', 'cell = "cr2032"\ncells = 1')
    found = sentences(old, new)
    assert found and found[0].startswith(expected)


def test_series_on_a_supply_that_bears_them_passes(edit):
    ring = RING + 'feed = { part = "usb-supply" }\nwiring = { in_series = 3, strings = 4 }\n'
    folder = edit('filter = "long-pass-850"\n', 'filter = "long-pass-850"\n' + ring)
    result = check(folder)
    assert result.passed
    # 3 × 1.5 V of 5 V leave the resistor 0.5 V: nothing swings on a steady supply.
    assert not [each for each in result.findings if each.code == "current-swings"]


def test_a_short_pulse_within_the_limits_passes(edit):
    pulsed = 'current = "150 mA"\ndrive = "pulsed"\nduty = "1 %"\npulse = "80 us"\n'
    assert check(edit(CURRENT + DRIVE, pulsed)).passed


def test_cells_that_swing_are_warned_of(edit):
    edit('cell = "aa-alkaline"\ncells = 2', 'cell = "aa-alkaline"\ncells = 3')
    folder = edit(CURRENT, CURRENT + "wiring = { in_series = 2 }\n")
    (told,) = (each for each in check(folder).findings if each.severity == "warning")
    assert told.code == "dims-before-spent"


def test_a_light_in_the_room_without_supply_is_only_noted(edit):
    (told,) = check(edit("[targets]", ANCHOR + "\n[targets]")).findings
    assert (told.severity, told.code) == ("note", "cell-missing")


def test_warmth_is_celsius_in_the_file_and_lowers_what_a_diode_bears(edit):
    result = check(edit("[room]\n", '[room]\ntemperature = "85 °C"\n'))
    assert warmest_c(result.rig) == pytest.approx(85)
    part = result.shelf.emitter("ir940-3mm-25")
    # 100 °C and 300 K/W of the data sheet: 50 mW at 85 °C.
    assert bearable_w(part, 85.0) == pytest.approx(0.050)
    assert bearable_w(part, 20.0) == pytest.approx(0.160)


def test_fresh_cells_beyond_what_the_diode_bears_are_warned_of(edit):
    found = check(edit(CURRENT, 'current = "100 mA"\n')).findings
    told = next(each for each in found if each.code == "fresh-above-part")
    assert told.severity == "warning"
    assert "sends 104 mA through ir850-5mm-17 while fresh (2 × aa-alkaline)" in str(told)
