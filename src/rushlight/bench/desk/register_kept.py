"""The registration that was kept, drawn: its verdict, its numbers, its picture, its cameras."""

from __future__ import annotations

import base64
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from nicegui import ui
from nicegui.element import Element

from rushlight.bench.desk.frame import element, table, words_html
from rushlight.bench.desk.live_panel import Findings
from rushlight.bench.desk.show import moment, number, signed
from rushlight.bench.texts import text
from rushlight.jobs.folder import RigPlace
from rushlight.jobs.told import newest_told


def draw_list(sentences: Sequence[str]) -> None:
    """Sentences, one below the other."""
    with ui.element("ul").classes("plain-list"):
        for sentence in sentences:
            element("li", sentence)


def draw_kept(place: RigPlace) -> None:
    """What was kept last of a rig, into the present place."""
    kept = newest_told("register", place.folder)
    if kept is None:
        element("p", text("register.kept.none"), "soft")
        return
    told = kept.values
    good = "vouched" if told["vouched"] else "not_vouched"
    element("p", text(f"register.{good}.mark"), f"verdict {'good' if told['vouched'] else 'bad'}")
    basis = text(f"basis.{told['basis']}") if "basis" in told else ""
    how = "register.when.space" if "method" in told else "register.when"
    element("p", text(how, when=moment(kept), basis=basis, method=told.get("method")), "soft")
    draw_list(told["reasons"])
    rows = _kept_rows(told)
    if rows:
        table([], rows, text("register.kept"))
    if told.get("picture"):
        words = "register.picture.space" if "method" in told else "register.picture"
        _picture(kept.path.with_name(Path(told["picture"]).name), text(words))
    if told.get("cameras"):
        _draw_cameras(told["cameras"])
    if told.get("touches") and "missed_without_it_mm" in told["touches"][0]:
        with ui.element("details"):
            element("summary", text("register.touches"))
            _draw_kept_touches(told["touches"])
    Findings().show(told.get("findings") or [])


def _kept_rows(told: Mapping[str, Any]) -> list[tuple[str, str]]:
    kind = "register.row.space" if "method" in told else "register.row"
    rows = [
        (text(f"{kind}.{name}"), number(told[name], "mm"))
        for name in ("rms_residual_mm", "expected_rms_mm", "worst_error_mm", "middle_error_mm")
        if told.get(name) is not None
    ]
    for name, (right, up) in (told.get("aside_mm") or {}).items():
        value = text("register.row.aside.value", right=signed(right), up=signed(up))
        rows.append((text("register.row.aside", carried=name), value))
    return rows


def _draw_kept_touches(touches: Sequence[Mapping[str, Any]]) -> None:
    names = ("x", "y", "carried", "missed", "without", "used")
    table(
        [text(f"register.column.{each}") for each in names],
        [
            (
                f"{touch['x_m']:.3f}",
                f"{touch['y_m']:.3f}",
                touch["carried"],
                touch["missed_mm"],
                touch["missed_without_it_mm"],
                text("register.used" if touch["used"] else "register.unused"),
            )
            for touch in touches
        ],
        text("register.touches"),
    )


def _draw_cameras(cameras: Sequence[Mapping[str, Any]]) -> None:
    """Where the cameras of a rig in space were found, each number with its doubt."""
    title = text("register.cameras")
    element("h3", title)
    rows = []
    for each in cameras:
        places = [
            f"{at:.3f}".replace("-", "−") + f"\u00a0m ±\u00a0{number(std, 'mm')}"
            for at, std in zip(each["place_m"], each["place_std_mm"], strict=True)
        ]
        turned = ", ".join(number(std) for std in each["turn_std_deg"])
        rows.append((each["camera"], *places, turned))
    table([text(f"register.camera.{each}") for each in ("name", *"xyz", "turned")], rows, title)


def _picture(path: Path, alt: str) -> Element | None:
    """What was drawn beside the registration: an error map, or the cameras with their doubt."""
    try:
        drawn = base64.b64encode(path.read_bytes()).decode()
    except OSError:
        return None
    words = words_html(alt)
    box = ui.html(
        f'<img class="drawn" alt="{words}" src="data:image/svg+xml;base64,{drawn}">', sanitize=False
    ).classes("scroll")
    box.props.update({"tabindex": "0", "role": "region", "aria-label": alt})
    return box
