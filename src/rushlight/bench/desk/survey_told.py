"""What a picture survey tells, in figures and tables: changes, readings, corners and the wall."""

from __future__ import annotations

from typing import Any

from nicegui import ui

from rushlight.bench.desk.frame import element, panel, table, words_html
from rushlight.bench.desk.show import number
from rushlight.bench.desk.survey_drawing import wall_svg
from rushlight.bench.texts import text
from rushlight.jobs.survey_sketch import SurveySketch


def draw_told(told: dict[str, Any], sketch: SurveySketch) -> None:
    """Draw panels into the present place.

    Parameters
    ----------
    told
        The survey as its command prints it.
    sketch
        Of the same survey.
    """
    _changes(told, sketch)
    _residuals(told)
    if sketch.wall_mm is not None:
        _wall(sketch)


def _changes(told: dict[str, Any], sketch: SurveySketch) -> None:
    one, other = told["next_reading"]
    with panel(text("survey.changes")):
        figures = [
            (text("survey.moved"), number(sketch.moved_rms_mm, "mm")),
            (text("survey.moved.worst"), number(sketch.moved_worst_mm, "mm")),
            (text("survey.doubt.rms"), number(told["rms_std_mm"], "mm")),
        ]
        shown = "".join(
            f'<div><dt>{words_html(name)}</dt><dd class="big">{words_html(value)}</dd></div>'
            for name, value in figures
        )
        ui.html(f'<dl class="figures">{shown}</dl>', sanitize=False)
        element("p", text("survey.changes.words"), "small")
        value = number(told["next_rms_std_mm"], "mm rms")
        element("p", text("survey.changes.next", one=one, other=other, value=value))
        element("p", text("survey.changes.use"), "soft small")


def _residuals(told: dict[str, Any]) -> None:
    with panel(text("survey.residuals")):
        columns = [
            f"{text(f'survey.residuals.{each}')}"
            for each in ("where", "read", "std", "missed", "score", "held")
        ]
        rows = [
            [each["where"], each["read_mm"], each["std_mm"], each["missed_mm"], each["score"],
             _held(each)]
            for each in told["readings"]
        ]  # fmt: skip
        table(columns, rows, text("survey.residuals"))
        element("h3", text("survey.corners"))
        table(
            [text(f"survey.corners.{each}") for each in ("corner", "x", "y")],
            [
                [
                    each["corner"],
                    f"{each['x_mm']} ± {each['x_std_mm']}",
                    f"{each['y_mm']} ± {each['y_std_mm']}",
                ]
                for each in told["corners"]
            ],
            text("survey.corners"),
        )


def _held(reading: dict[str, Any]) -> str:
    if reading["suspect"]:
        return text("survey.held.wrong")
    return text("survey.held.unchecked" if reading["score"] is None else "survey.held.good")


def _wall(sketch: SurveySketch) -> None:
    with panel(text("survey.wall")):
        ui.html(wall_svg(sketch), sanitize=False)
        element("p", text("survey.wall.lead"), "soft small")
