"""What `docs/outputs.md` says of formats is what is sent."""

import json
import re
from pathlib import Path

import numpy as np
from pythonosc.osc_bundle import OscBundle

from rushlight.drive.contacts import Contacts
from rushlight.drive.lines import line_of
from rushlight.drive.osc import DEFAULT_ADDRESS as OSC_ADDRESS
from rushlight.drive.osc import bundle
from rushlight.drive.pointer import DEFAULT_ADDRESS as POINTER_ADDRESS
from rushlight.drive.pointer_wire import message
from rushlight.records.rig import Drive, Rig

PAGE = (Path(__file__).parents[2] / "docs" / "outputs.md").read_text()


def test_every_output_of_a_rig_has_its_row():
    allowed = Rig.model_fields["outputs"].annotation.__args__[0].__args__
    table = PAGE.partition("The extras")[0]
    rows = re.findall(r"^\| `(\w+)` \|", table, re.MULTILINE)
    assert sorted(rows) == sorted(allowed)


def test_the_usual_addresses():
    assert (Drive().pointer, Drive().osc) == (POINTER_ADDRESS, OSC_ADDRESS)
    assert f'pointer = "{POINTER_ADDRESS}"' in PAGE
    assert f'osc = "{OSC_ADDRESS}"' in PAGE


def test_addresses_and_types_of_messages(display, make):
    told = dict(re.findall(r"^\| `(/rushlight\S+)` \| `(\w+)` \|", PAGE, re.MULTILINE))
    place = np.array([0.1, 0.2, 0.3])
    fixes = [
        make.fix("A", 1, 0.1, 0.1, 0),
        make.fix("A", 1, 0.1, 0.1, 0, dimensions=3, surface=None, point="B", position_m=place),
        make.fix("A", 1, 0.1, 0.1, 0, dimensions=6, surface=None, position_m=place),
    ]
    events = [make.switched(f"switch-{way}", "A", 1, 0) for way in ("down", "up")]
    sent = {}
    for each in OscBundle(bundle(make.results(0, 0, fixes, events), display, None)):
        address = each.address.replace("/A", "/<carried>").replace("/B", "/<point>")
        types = "".join("i" if isinstance(value, int) else "f" for value in each.params)
        sent[address] = types
    assert sent == told


def test_the_example_of_a_line(display, make):
    block = re.search(r"```json\n(.*?)\n```", PAGE, re.DOTALL)
    shown = json.loads(block.group(1))
    [fix], [event] = shown["fixes"], shown["events"]
    cov = np.diag([fix["position_std_m"][0] ** 2] * 2 + [np.nan] * 4)
    results = make.results(
        shown["frame"],
        shown["capture_ns"],
        [
            make.fix(
                fix["carried"], fix["trail"], 0.6, 1.0, fix["capture_ns"], fix["frame"], cov=cov,
                detect_ns=fix["detect_ns"], map_ns=fix["map_ns"],
            )
        ],
        [
            make.switched(
                event["kind"], event["carried"], event["trail"], event["time_ns"], event["frame"]
            ).known(shown["capture_ns"], 2e-3, 2.5e-3)
        ],
    )  # fmt: skip
    printed = json.loads(line_of(results, display, shown["sent_ns"]))
    printed["fixes"][0]["position_std_m"][:2] = np.round(
        printed["fixes"][0]["position_std_m"][:2], 9
    ).tolist()
    assert printed == shown


def test_the_words_on_the_wire(display, make):
    steps = Contacts(display).steps(make.results(0, 0, [make.fix("A", 1, 0.1, 0.1, 0)]))
    body = json.loads(message(steps, 0, True))
    words = re.search(r'`\{"sent_ms", "steps": \[\[(.*?)\]', PAGE).group(1)
    assert list(body) == ["sent_ms", "steps"]
    assert len(body["steps"][0]) == len(words.split(", "))
