"""The page of a kit: one file that needs no network and no script."""

from __future__ import annotations

import base64
import importlib.resources
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from jinja2 import Environment, FunctionLoader, StrictUndefined
from markupsafe import Markup

from rushlight.publish.aim import Hanging
from rushlight.publish.build import corner_rows
from rushlight.publish.buying import Purchase
from rushlight.publish.expectations import (
    Row,
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
from rushlight.records.space_plan import SpacePlan

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
    """What stands on the page of every kit.

    Attributes
    ----------
    kit, plan, assessment
        Documents; the last may be missing.
    bought
        Lines of the parts table.
    drawings
        File name to drawing, shown in the page itself.
    pictures
        File name, content, what it shows and its basis.
    basis
        What the figures rest on at best.
    dated
        When the newest document was made.
    """

    kit: Kit
    plan: Plan | SpacePlan
    assessment: Assessment | None
    bought: Sequence[Purchase]
    drawings: Mapping[str, Drawing]
    pictures: Sequence[tuple[str, bytes, str, Basis]]
    basis: Basis
    dated: str

    def drawn(self, *names: str) -> list[tuple[str, Markup, str]]:
        """Drawings whose names begin so: file name, drawing and description."""
        return [
            (name, Markup(each.svg), each.description)
            for name, each in self.drawings.items()
            if name.startswith(names)
        ]


@dataclass(frozen=True)
class SurfaceContent(PageContent):
    """What stands on the page of a kit for pointing at a surface.

    Attributes
    ----------
    registration
        Document, or None.
    hangings
        Cameras.
    """

    plan: Plan
    registration: Registration | None
    hangings: Sequence[Hanging]


@dataclass(frozen=True)
class Told:
    """What the page says in the words of its kind of rig.

    Attributes
    ----------
    headlines, causes
        Tables of figures.
    words
        `causes`, `late` and `whole` of its captions.
    figures
        Name and statistic of figures beside the reference's.
    """

    headlines: Sequence[Row]
    causes: Sequence[Row]
    words: Mapping[str, str]
    figures: Mapping[tuple[str, str], str]


_WORDS = {
    "causes": "Where the pointing error comes from, root-mean-square over the surface",
    "late": "it shifts the pointer along the motion and is never added to the error",
    "whole": "Figure, over the whole surface",
}


def render_page(content: SurfaceContent) -> bytes:
    """The page as UTF-8 HTML; everything that people wrote is escaped."""
    told = Told(
        headline_rows(content.kit.rig, content.plan, content.assessment),
        cause_rows(content.plan, content.assessment),
        _WORDS,
        WORDS,
    )
    return rendered("kit.jinja", {**shared_context(content, told), **_context(content)})


def rendered(template: str, context: Mapping[str, Any]) -> bytes:
    """A page by one of the templates."""
    environment = Environment(
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        loader=FunctionLoader(_resource),
    )
    return (environment.get_template(template).render(context).rstrip() + "\n").encode()


def _resource(name: str) -> str:
    return importlib.resources.files("rushlight.publish").joinpath(name).read_text("utf-8")


def shared_context(content: PageContent, told: Told) -> dict[str, Any]:
    """What the frame of every kit's page asks for."""
    kit, plan, assessment = content.kit, content.plan, content.assessment
    return {
        "kit": kit,
        "rig": kit.rig,
        "css": Markup(_resource("kit.css")),
        "sections": SECTIONS,
        "titles": dict(SECTIONS),
        "basis": content.basis,
        "dated": content.dated[:10],
        "found_word": assessment.basis if assessment else "",
        "headlines": told.headlines,
        "causes": told.causes,
        "words": told.words,
        "delays": delay_rows(plan),
        "eyes": eye_rows(plan),
        "beams": beam_rows(plan) if isinstance(plan, Plan) else [],
        "circuits": circuit_rows(plan),
        "relative": [
            (told.figures.get((row.name, row.statistic), f"{row.name}, {row.statistic}"), row)
            for row in (assessment.relative if assessment else [])
        ],
        "bought": content.bought,
        "cost": _cost(plan),
        "wiring": content.drawn("wiring"),
        "steps": {part: [step for step in kit.steps if step.part == part]
                  for part in ("wire", "mount", "register", "check")},
        "pictures": [
            (name, _data_uri(picture), shows, basis)
            for name, picture, shows, basis in content.pictures
        ],
        "advice": [each for each in plan.advice if each.helps][:_MOST_ADVICE],
        "tolerances": [_tolerance(each, assessment) for each in kit.tolerances],
        "number": significant,
    }  # fmt: skip


def _context(content: SurfaceContent) -> dict[str, Any]:
    return {
        "rooms": content.drawn("side-view", "top-view"),
        "front": content.drawn("front-view"),
        "corners": [
            (camera_words(hanging.camera), corner_rows(hanging)) for hanging in content.hangings
        ],
        "beacons": _beacons(content),
        "registered": _registered(content.registration),
    }


def _data_uri(picture: bytes) -> str:
    """A picture as part of the page; as an image it can run nothing."""
    return f"data:image/svg+xml;base64,{base64.b64encode(picture).decode()}"


def _cost(plan: Plan | SpacePlan) -> dict[str, Any] | None:
    figure = find_figure(plan.figures, "cost")
    return None if figure is None else {"stated": stated(figure), "method": figure.method}


def _beacons(content: SurfaceContent) -> list[tuple[int, str, str, str]]:
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
