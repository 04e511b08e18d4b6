"""The page of a kit: one file that needs no network and no script."""

from __future__ import annotations

import base64
import importlib.resources
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from jinja2 import Environment, StrictUndefined
from markupsafe import Markup

from rushlight.publish.aim import Hanging
from rushlight.publish.buying import Purchase
from rushlight.publish.expectations import (
    beam_rows,
    cause_rows,
    circuit_rows,
    delay_rows,
    eye_rows,
    headline_rows,
)
from rushlight.publish.sheet import Drawing
from rushlight.publish.tolerances import WORDS, figure_words, own_value
from rushlight.publish.wording import (
    NO_BREAK,
    camera_words,
    metres,
    significant,
    stated,
    with_unit,
)
from rushlight.records.assessment import Assessment
from rushlight.records.document import Basis
from rushlight.records.figure import find_figure
from rushlight.records.kit import Kit, Tolerance
from rushlight.records.plan import Plan
from rushlight.records.registration import Registration

SECTIONS = (
    ("what", "What it is"),
    ("care", "Before you begin"),
    ("does", "What it will do for you, and how sure"),
    ("buy", "What to buy"),
    ("wire", "How to wire"),
    ("mount", "How to mount and aim"),
    ("register", "How to register"),
    ("expect", "What to expect"),
    ("check", "How to check your rebuild"),
    ("unknown", "What is not known"),
    ("rights", "Licence, authors and files"),
)
_MOST_ADVICE = 6


@dataclass(frozen=True)
class PageContent:
    """What stands on the page.

    Attributes
    ----------
    kit, plan, assessment, registration
        Documents; the last two may be missing.
    bought
        Lines of the parts table.
    drawings
        File name to drawing, shown in the page itself.
    pictures
        File name, content, what it shows and its basis.
    hangings
        Cameras.
    basis
        What the figures rest on at best.
    dated
        When the newest document was made.
    """

    kit: Kit
    plan: Plan
    assessment: Assessment | None
    registration: Registration | None
    bought: Sequence[Purchase]
    drawings: Mapping[str, Drawing]
    pictures: Sequence[tuple[str, bytes, str, Basis]]
    hangings: Sequence[Hanging]
    basis: Basis
    dated: str


def render_page(content: PageContent) -> bytes:
    """The page as UTF-8 HTML; everything that people wrote is escaped."""
    environment = Environment(
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    template = environment.from_string(_resource("kit.jinja"))
    return (template.render(_context(content)).rstrip() + "\n").encode()


def _resource(name: str) -> str:
    return importlib.resources.files("rushlight.publish").joinpath(name).read_text("utf-8")


def _context(content: PageContent) -> dict[str, Any]:
    kit, plan, assessment = content.kit, content.plan, content.assessment
    inline = {name: Markup(drawing.svg) for name, drawing in content.drawings.items()}
    return {
        "kit": kit,
        "rig": kit.rig,
        "css": Markup(_resource("kit.css")),
        "sections": SECTIONS,
        "titles": dict(SECTIONS),
        "basis": content.basis,
        "dated": content.dated[:10],
        "found_word": assessment.basis if assessment else "",
        "headlines": headline_rows(kit.rig, plan, assessment),
        "causes": cause_rows(plan, assessment),
        "delays": delay_rows(plan),
        "eyes": eye_rows(plan),
        "beams": beam_rows(plan),
        "circuits": circuit_rows(plan),
        "relative": [
            (WORDS.get((row.name, row.statistic), f"{row.name}, {row.statistic}"), row)
            for row in (assessment.relative if assessment else [])
        ],
        "bought": content.bought,
        "cost": _cost(plan),
        "wiring": [(name, inline[name], content.drawings[name].description)
                   for name in inline if name.startswith("wiring")],
        "rooms": [(name, inline[name], content.drawings[name].description)
                  for name in inline if name in ("side-view.svg", "top-view.svg")],
        "front": [(name, inline[name], content.drawings[name].description)
                  for name in inline if name == "front-view.svg"],
        "steps": {part: [step for step in kit.steps if step.part == part]
                  for part in ("wire", "mount", "register", "check")},
        "corners": [
            (camera_words(hanging.camera), _corners(hanging)) for hanging in content.hangings
        ],
        "beacons": _beacons(content),
        "registered": _registered(content.registration),
        "pictures": [
            (name, _data_uri(picture), shows, basis)
            for name, picture, shows, basis in content.pictures
        ],
        "advice": [each for each in plan.advice if each.helps][:_MOST_ADVICE],
        "tolerances": [_tolerance(each, assessment) for each in kit.tolerances],
        "number": significant,
    }  # fmt: skip


def _data_uri(picture: bytes) -> str:
    """A picture as part of the page; as an image it can run nothing."""
    return f"data:image/svg+xml;base64,{base64.b64encode(picture).decode()}"


def _cost(plan: Plan) -> dict[str, Any] | None:
    figure = find_figure(plan.figures, "cost")
    return None if figure is None else {"stated": stated(figure), "method": figure.method}


def _corners(hanging: Hanging) -> list[tuple[str, str]]:
    names = ("lower left", "lower right", "upper right", "upper left")
    return [
        (name, f"{x:.0f}, {y:.0f} px" if math.isfinite(x) else "outside the picture")
        for name, (x, y) in zip(names, hanging.corners_px, strict=True)
    ]


def _beacons(content: PageContent) -> list[tuple[int, str, str, str]]:
    floor = content.kit.rig.surfaces[0].height_above_floor.value
    return [
        (number, _fine(x), _fine(y), metres(y + floor))
        for number, (x, y) in enumerate(content.plan.beacons, start=1)
    ]


def _fine(value_m: float) -> str:
    return f"{value_m:.3f}{NO_BREAK}m"


def _registered(registration: Registration | None) -> dict[str, Any] | None:
    if registration is None:
        return None
    expected = registration.expected_rms_m
    return {
        "basis": registration.header.basis if registration.header else "typical",
        "missed": f"{1e3 * registration.rms_residual_m:.1f} mm",
        "expected": "" if expected is None else f"{1e3 * expected:.1f} mm",
        "touches": sum(touch.used for touch in registration.touches),
        "vouched": registration.verdict.vouched,
        "reasons": registration.verdict.reasons,
    }


def _tolerance(tolerance: Tolerance, assessment: Assessment | None) -> dict[str, str]:
    bounds = []
    if tolerance.low is not None:
        bounds.append(f"at least {with_unit(significant(tolerance.low), tolerance.unit)}")
    if tolerance.high is not None:
        bounds.append(f"at most {with_unit(significant(tolerance.high), tolerance.unit)}")
    own = own_value(tolerance, assessment)
    return {
        "what": figure_words(tolerance),
        "bound": " and ".join(bounds),
        "ground": tolerance.ground,
        "basis": tolerance.basis,
        "own": with_unit(significant(own), tolerance.unit) if assessment else "",
        "own_basis": assessment.basis if assessment and own is not None else "",
    }
