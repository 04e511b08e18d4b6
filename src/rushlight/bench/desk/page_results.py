"""Results: what was predicted beside what was found, and the rig beside its reference."""

from __future__ import annotations

from typing import Any

from nicegui import ui

from rushlight.bench.desk.drawings import draw_picture
from rushlight.bench.desk.frame import button, element, findings_list, link, panel, table
from rushlight.bench.desk.show import basis_mark, number
from rushlight.bench.desk.worker import quickly, slowly
from rushlight.bench.texts import has_text, text
from rushlight.errors import RushlightError
from rushlight.jobs.assess_rows import criterion_words, digits, is_shown, row_words, span
from rushlight.jobs.folder import RigPlace
from rushlight.jobs.results import ResultPicture, Results, result_pictures, results
from rushlight.records.assessment import Assessment


def twin(place: RigPlace) -> Any:
    """As ``rushlight assess RIG --json``."""
    return results(place.file).as_dict()


async def draw(place: RigPlace) -> None:
    """Draw the page into the frame."""
    await ResultsPage(place).draw()


class ResultsPage:
    """The page of one tab."""

    def __init__(self, place: RigPlace) -> None:
        self._place = place

    async def draw(self) -> None:
        """Draw the head, then what the job tells, then the pictures."""
        element("h1", text("results.title"))
        element("p", text("results.lead"), "lead")
        self._notice = ui.element("div").classes("notice")
        self._notice.props["role"] = "status"
        self._all = ui.element("div").classes("stack results")
        await ui.context.client.connected(timeout=60.0)
        await self._show()

    async def _show(self) -> None:
        try:
            found = await quickly(results, self._place.file)
        except RushlightError as error:
            self._tell(error)
            return
        self._all.clear()
        boxes: dict[str, Any] = {}
        with self._all:
            self._draw_head(found)
            for of, document in found.documents.items():
                boxes[of] = _draw_document(of, document)
        if not boxes:
            return
        for picture in await slowly(result_pictures, self._place.file):
            with boxes[picture.of]:
                _draw_picture(picture)

    def _draw_head(self, found: Results) -> None:
        if found.findings:
            with panel(text("results.missing")):
                findings_list(found.findings)
        with ui.element("div").classes("row"):
            if any(self._place.folder.glob("*.sqlite")):
                self._anew = button(text("results.anew"), self._assess)
            if found.documents:
                here = f"/rig/{self._place.name}/results"
                link(text("results.csv"), f"{here}.csv", "button", download="")
                link(text("results.json"), f"{here}.json", "button", download="")

    async def _assess(self) -> None:
        self._anew.props["disabled"] = True
        self._anew.update()
        self._notice.clear()
        with self._notice:
            element("span", text("results.assessing"))
        try:
            await slowly(results, self._place.file, True)
        except RushlightError as error:
            self._tell(error)
            self._anew.props["disabled"] = False
            self._anew.update()
            return
        self._notice.clear()
        await self._show()

    def _tell(self, error: RushlightError) -> None:
        self._notice.clear()
        with self._notice:
            findings_list(error.findings)


def _draw_document(of: str, found: Assessment) -> Any:
    """A heading with its basis, then tables; where its pictures go is returned."""
    with panel():
        with ui.element("div").classes("row"):
            element("h2", text(f"results.of.{of}"))
            basis_mark(found.basis)
        if found.basis == "simulated":
            element("p", text(f"results.simulated.{of}"))
        for condition in found.conditions:
            element("p", condition, "soft small")
        pictures = ui.element("div").classes("pictures")
        _draw_compared(found)
        _draw_reference(found)
        _draw_taps(found)
        _draw_figures(found)
        if found.findings:
            with ui.element("details"):
                element("summary", text("results.findings", count=len(found.findings)))
                findings_list(found.findings)
    return pictures


def _draw_picture(picture: ResultPicture) -> None:
    key = f"results.picture.{picture.name.removesuffix('.svg')}"
    words = text(key) if has_text(key) else picture.name
    basis = text(f"basis.{picture.basis}")
    draw_picture(picture.svg, text("results.picture", shows=words, basis=basis))


def _heads(*names: str) -> list[str]:
    """Heads of columns; those of numbers end in a bracket."""
    return [text(f"results.{name}") for name in names]


def _draw_compared(found: Assessment) -> None:
    rows = [row for row in found.compared if is_shown(row, found)]
    if not rows:
        return
    title = text("results.compared")
    element("h3", title)
    element("p", text("results.compared.lead"), "soft small")
    table(
        _heads("figure", "predicted", "found", "unit", "ratio", "interval", "basis"),
        [
            [
                row_words(row), digits(row.predicted), digits(row.measured), row.unit,
                digits(row.ratio), span(row.ratio_low, row.ratio_high),
                text(f"basis.{row.basis}"),
            ]
            for row in rows
        ],
        title,
    )  # fmt: skip
    _readings([(row_words(row), row.reading) for row in rows])


def _draw_reference(found: Assessment) -> None:
    if found.reference is None:
        return
    title = text("results.beside", reference=found.reference)
    element("h3", title)
    element("p", text("results.beside.lead"), "soft small")
    if found.relative:
        table(
            _heads("criterion", "rig", "rig.basis", "reference", "reference.basis", "unit",
                   "ratio", "interval"),
            [
                [
                    criterion_words(row), digits(row.rig_value),
                    text(f"basis.{row.rig_basis}"), digits(row.reference_value),
                    text(f"basis.{row.reference_basis}"), row.unit, digits(row.ratio),
                    span(row.low, row.high),
                ]
                for row in found.relative
            ],
            title,
        )  # fmt: skip
        _readings([(criterion_words(row), row.reading) for row in found.relative])
    whole = found.overall
    if whole is not None:
        ends = span(whole.low, whole.high)
        value = digits(whole.value) if ends is None else f"{digits(whole.value)} ({ends})"
        words = text("results.overall", value=value)
        element("h4", words)
        if ends is None:
            element("p", text("results.overall.unknown"), "soft small")
        table(
            _heads("criterion", "weight", "lighter", "heavier"),
            [
                [row.name, digits(row.weight), digits(row.if_lower), digits(row.if_higher)]
                for row in whole.weights
            ],
            words,
        )
    _draw_cost(found)


def _draw_cost(found: Assessment) -> None:
    cost = found.cost
    if cost is None:
        return
    known = cost.low is not None and cost.high is not None
    ends = f"{span(100.0 * cost.low, 100.0 * cost.high)}\u00a0%" if known else ""
    with ui.element("p").classes("total"):
        element("strong", text("results.cost", ratio=number(100.0 * cost.ratio, "%")))
        basis_mark(cost.basis)
    element(
        "p",
        text(
            "results.cost.of",
            ours=f"{cost.rig_cost:.2f}",
            theirs=f"{cost.reference_cost:.2f}",
            currency=cost.currency,
            interval=ends or text("results.cost.unknown"),
            method=cost.method,
        ),
        "soft small",
    )


def _draw_taps(found: Assessment) -> None:
    if not found.taps:
        return
    title = text("results.taps")
    element("h3", title)
    table(
        _heads("who", "taps.n", "misses", "mt", "we", "ide", "tp", "basis"),
        [
            [
                f"{each.participant}, {each.carried}, {each.condition}", each.n,
                digits(each.error_rate), digits(each.movement_time_s),
                digits(each.effective_width_m), digits(each.effective_difficulty_bit),
                digits(each.throughput_bit_s), text(f"basis.{found.basis_in(each.session)}"),
            ]
            for each in found.taps
        ],
        title,
    )  # fmt: skip
    for form in dict.fromkeys(each.ae_form for each in found.taps):
        element("p", text("results.taps.form", form=form), "soft small")


def _draw_figures(found: Assessment) -> None:
    rows = [row for row in found.figures if is_shown(row, found)]
    with ui.element("details"):
        title = text("results.all", count=len(rows))
        element("summary", title)
        table(
            _heads("figure", "value", "interval", "unit", "basis"),
            [
                [
                    row_words(row), digits(row.value), span(row.low, row.high), row.unit,
                    text(f"basis.{row.basis}"),
                ]
                for row in rows
            ],
            title,
        )  # fmt: skip


def _readings(rows: list[tuple[str, str]]) -> None:
    """How to read the rows of a table, those that read alike together."""
    told = {reading for _, reading in rows if reading}
    if not told:
        return
    with ui.element("details"):
        element("summary", text("results.readings"))
        for reading in dict.fromkeys(reading for _, reading in rows if reading):
            those = "; ".join(what for what, its in rows if its == reading)
            element("p", f"{those}: {reading}", "small")
