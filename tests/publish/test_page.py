"""The kit's page: whole, escaped, marked, careful, and legible to people and machines."""

from __future__ import annotations

import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest

from rushlight.cli import app
from rushlight.physics.cautions import CAUTIONS, EYE_CAUTION
from rushlight.plan.power import plan_circuits
from rushlight.publish.kit import build_kit
from rushlight.publish.page import SECTIONS

VOID = {"meta", "img", "br", "hr", "link", "input", "rect", "line", "circle", "path", "polygon"}


class Reader(HTMLParser):
    """Checks that every element is closed in order, and keeps what the tests ask about."""

    def __init__(self, text):
        super().__init__()
        self.open, self.elements, self.words = [], [], []
        self.feed(text)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        if tag not in VOID:
            assert self.open.pop() == tag

    def handle_data(self, data):
        if not {"style", "script"} & set(self.open):
            self.words.append(data)

    def all(self, tag):
        return [attrs for name, attrs in self.elements if name == tag]

    @property
    def text(self):
        return re.sub(r"\s+", " ", " ".join(self.words))


def page_of(source):
    return build_kit(source)[1]["index.html"].decode()


@pytest.fixture(scope="module")
def full(source):
    return page_of(source)


@pytest.fixture(scope="module")
def read(full):
    return Reader(full)


def test_it_is_well_formed_and_says_its_language(read):
    assert read.all("html") == [{"lang": "en"}]
    assert len(read.all("h1")) == 1
    ids = [attrs["id"] for _, attrs in read.elements if "id" in attrs]
    assert len(ids) == len(set(ids))
    for section, title in SECTIONS:
        assert section in ids
        assert title in read.text


def test_it_needs_nothing_from_elsewhere(full, read):
    for tag, attrs in read.elements:
        assert tag not in ("script", "link", "iframe", "object")
        assert not any(name.startswith("on") for name in attrs)
        for name in ("src", "href", "action", "data", "xlink:href"):
            assert attrs.get(name, "#").startswith(("#", "data:image/svg+xml;base64,")), attrs
    addresses = set(re.findall(r"https?://[^\s\"'<>]+", full))
    assert addresses <= {"http://www.w3.org/2000/svg"}  # a namespace; nothing is fetched
    assert "@import" not in full
    assert "url(" not in full


def test_people_who_do_not_see_it_are_told_as_much(read):
    pictures = [attrs for attrs in read.all("svg") if attrs.get("role") == "img"]
    assert len(pictures) == 4
    assert all(len(attrs["aria-label"]) > 10 for attrs in pictures)
    assert all(len(attrs["alt"]) > 20 for attrs in read.all("img"))
    assert read.all("th")
    assert all(attrs.get("scope") in ("row", "col") for attrs in read.all("th"))
    assert len(read.all("caption")) == len(read.all("table"))


def test_every_caution_stands_at_the_head_and_the_grave_ones_beside_their_steps(full, read):
    head, rest = read.text.split("The figures to judge it by", 1)
    for caution in CAUTIONS.values():
        assert caution in head
    for hazard in ("eye", "cell", "mains", "height", "heat", "filter_glass", "motion"):
        assert CAUTIONS[hazard] in rest, hazard
    assert rest.count(EYE_CAUTION) == 4  # where the light is tried, and wherever it is held
    assert "local codes" in head
    assert not re.search(r"\bsafe\b", full, re.IGNORECASE)


def test_without_cells_nothing_is_said_of_cells_nor_drawn(plain):
    bare = [carried.model_copy(update={"cell": None}) for carried in plain.rig.carried]
    rig = plain.rig.model_copy(update={"carried": bare})
    figures = [f for f in plain.plan.figures if f.name not in ("resistor", "current", "runtime")]
    plan = plain.plan.model_copy(
        update={"figures": figures, "circuits": plan_circuits(rig, plain.shelf)}
    )
    kit, files = build_kit(replace(plain, rig=rig, plan=plan))
    text = Reader(files["index.html"].decode()).text
    assert CAUTIONS["cell"] not in text
    assert "no circuit is drawn" in text
    assert not any("wiring" in file.path for file in kit.files)


def test_what_was_simulated_predicted_and_invented_is_marked_so(read, source, plain):
    row = re.search(r"Pointing error how far.*?19 of 20", read.text).group(0)
    assert re.search(r"mm predicted .*91 mm simulated 88 to 94.mm, 95.% interval", row)
    assert "54.20 EUR invented" in read.text
    assert "This rig is invented" in read.text
    assert "rest on one model" in read.text
    assert "3.2\xa0bit/s simulated 2.9 to 3.6" in read.text.replace(" bit", "\xa0bit")
    assert "tapped by invented hands" in read.text
    alone = Reader(page_of(plain)).text
    assert "Every figure here is predicted. Nothing was built, nothing measured." in alone
    assert "Not tried on hardware" in alone
    assert not re.search(r"mm simulated", alone)


def test_a_rig_that_misses_its_own_bounds_says_so_first(read, source, assessed):
    assert "misses: error, root-mean-square." in read.text
    better = assessed.figures[0].model_copy(update={"value": 0.01})
    good = assessed.model_copy(update={"figures": [better]})
    kit, _ = build_kit(replace(source, assessment=good))
    assert not any("misses" in notice for notice in kit.notices)


def test_values_in_tables_carry_a_unit(full):
    values = re.findall(r'<b class="value">([^<]+)</b>', full)
    assert len(values) > 20
    unit = r"(mm|ms|%|h|EUR|m|Ω|mA|bit/s)"
    for value in values:
        assert re.search(rf"\d\xa0{unit}$", value) or value == "not known", value


def test_what_people_write_cannot_become_markup(plain):
    nasty = '<script>alert("x")</script><img src=x onerror=alert(1)>'
    rig = plain.rig.model_copy(
        update={"title": nasty, "story": f"</style>{nasty}", "authors": [nasty], "licence": nasty}
    )
    read = Reader(page_of(replace(plain, rig=rig)))
    assert read.all("script") == []
    assert all("onerror" not in attrs for _, attrs in read.elements)
    assert nasty in "".join(read.words)


def test_an_unknown_price_is_called_not_known_and_never_nothing(plain):
    prices = {k: v for k, v in plain.rig.prices.items() if k != "vga-global-120"}
    rig = plain.rig.model_copy(update={"prices": prices})
    kit, files = build_kit(replace(plain, rig=rig))
    row = re.search(rb"vga-global-120</span></th>.*?</tr>", files["index.html"]).group(0)
    assert row.count(b"not known") == 2
    assert b"0.00" not in row
    assert any(line.startswith("Prices not known: 640 × 480") for line in kit.not_known)


def test_commands_on_the_page_exist_with_the_options_they_use(source):
    import typer

    known = typer.main.get_command(app).commands
    kit, _ = build_kit(source)
    typed = [command for step in kit.steps for command in step.commands]
    assert typed[:2] == ["make demo", ". .venv/bin/activate"]  # as the README has it
    commands = [command.split() for command in typed[2:]]
    verbs = ["aim", "assess", "bench", "check", "plan", "register", "run", "survey"]
    assert sorted({command[1] for command in commands}) == verbs
    for program, verb, *words in commands:
        assert program == "rushlight"
        options = {name for each in known[verb].params for name in each.opts}
        assert {word for word in words if word.startswith("--")} <= options


def luminance(colour):
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_text_stands_out_from_its_ground(full):
    """Contrast of at least 4.5 as WCAG 2.2, success criterion 1.4.3, asks (from memory)."""
    themes = re.findall(r":root \{([^}]*)\}", full)
    assert len(themes) == 3
    for theme in themes:
        colours = dict(re.findall(r"--(\w+): (#[0-9A-Fa-f]{3,6})", theme))
        full_form = {k: v if len(v) == 7 else "#" + "".join(c * 2 for c in v[1:])
                     for k, v in colours.items()}  # fmt: skip
        for ground in ("paper", "card"):
            for word in ("ink", "ember", "quiet"):
                pair = sorted(luminance(full_form[name]) for name in (ground, word))
                assert (pair[1] + 0.05) / (pair[0] + 0.05) >= 4.5, (ground, word)
