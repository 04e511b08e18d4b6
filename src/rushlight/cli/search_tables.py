"""The tables that show a search: words and rounding only."""

from __future__ import annotations

import json
import math
from typing import TYPE_CHECKING

from rushlight.cli.plan_tables import Table
from rushlight.cli.rounding import digits
from rushlight.plan.search_choice import in_table, supply_words, unpriced, unpriced_words
from rushlight.records.search import SearchCandidate, SearchResult

if TYPE_CHECKING:
    from rushlight.records.sourced import Price
    from rushlight.records.space_search import SpaceSearchResult


def tables(result: SearchResult) -> list[Table]:
    """Every table of a search, in the order of showing."""
    made = [_winners(result), _parts(result), _slips(result)]
    if any(each.chance for each in result.candidates):
        made.append(_chances(result))
    if result.more:
        made.append(_more(result))
    if result.thrown_out:
        made.append(_thrown_out(result))
    return [*made, _orders(result)]


def shown(result: SearchResult) -> list[SearchCandidate]:
    """The candidates of the tables."""
    return in_table(result.candidates, result.chosen)


def to_write(result: SearchResult) -> list[str]:
    """What to write into the rig's file to take the chosen candidate."""
    if result.chosen is None:
        return []
    one = result.candidate(result.chosen)
    position = ", ".join(f'"{step:g} m"' for step in one.position_m)
    look = ", ".join(f'"{step:g} m"' for step in one.look_at_m)
    fed = one.cell is not None and _cells_differ(result)
    filter_ = [f'filter = "{one.filter}"'] if one.filter else ["no filter"]
    return [
        f"To take number {one.number}, write into rig.toml, for the camera:",
        "\n".join(
            f"  {line}"
            for line in [
                f'part = "{one.camera}"',
                f"position = [{position}]",
                f"look_at = [{look}]",
                f'frame_rate = "{one.frame_rate_hz:g} Hz"',
                *filter_,
            ]
        ),
        f'and for each light: part = "{one.emitter}", current = "{1e3 * one.current_a:g} mA"'
        + (f'; for each stylus: cell = "{one.cell}", cells = {one.cells}' if fed else ""),
    ]


def prices_to_write(result: SearchResult | SpaceSearchResult) -> list[str]:
    """Lines for the rig's ``[prices]``, so that a plan counts what the search counted."""
    return [
        f"  {what} = {{ {', '.join(f'{key} = {_toml(value)}' for key, value in _told(price))} }}"
        for what, price in result.new_prices.items()
    ]


def _told(price: Price) -> list[tuple[str, object]]:
    """The fields of a price that say something."""
    fields = price.model_dump(mode="json").items()
    return [(key, value) for key, value in fields if value not in (None, "")]


def _toml(value: object) -> str:
    # A string in JSON is one in TOML too.
    return json.dumps(value, ensure_ascii=False)


def show_prices(result: SearchResult | SpaceSearchResult) -> None:
    """What to change under the rig's ``[prices]``; nothing where a plan knows it all."""
    from rushlight.cli import render

    lines = prices_to_write(result)
    if lines:
        render.note("and under [prices], where a plan looks for what the search counted:")
        render.copied("\n".join(lines))
    if result.old_prices:
        gone = ", ".join(result.old_prices)
        render.note(f"and take out of [prices], for it would be counted as bought too: {gone}")


def _cells_differ(result: SearchResult) -> bool:
    """Whether the rigs that are shown, or the rig as it stands, are fed in different ways."""
    everyone = [*result.candidates, *([result.own] if result.own else [])]
    return len({supply_words(each) for each in everyone}) > 1


def _winners(result: SearchResult) -> Table:
    rows: list[list[object]] = []
    warned = any(each.warned for each in result.candidates)
    for one in shown(result):
        rows.append(
            [
                _name(one, result),
                one.place,
                f"{one.cost:.2f}",
                ("≈ " if one.rough else "") + (digits(1e3 * one.error_rms_m) or "–"),
                f"{100 * one.coverage:.0f} / {100 * one.coverage_clear:.0f}",
                f"{1e3 * one.delay_s:.0f}",
                _hours(one.battery_s),
                ", ".join(one.missed) or "none",
                *([", ".join(one.warned) or "nothing"] if warned else []),
            ]
        )
    worked_out = len(result.candidates)
    some = (
        f"{len(rows)} of the {result.front} that none beats in everything"
        if worked_out == result.front
        else f"{len(rows)} shown of the {worked_out} worked out, which are spread over the "
        f"{result.front} that none beats in everything"
    )
    # What a search does not choose among has a price in each or in none.
    bare = unpriced_words(unpriced(result.orders))
    title = (
        f"Winners: {some}, of {result.evaluated} candidates ("
        + (f"cost: {bare}; " if bare else "")
        + "coverage: with all shadow / with one upright body alone; ≈: rough error)"
    )
    columns = [
        "no.", "place", f"cost [{result.currency}]", "error [mm]", "covers [%]", "delay [ms]",
        "lasts [h]", "misses", *(["warned of"] if warned else []),
    ]  # fmt: skip
    return title, columns, rows


def _name(one: SearchCandidate, result: SearchResult) -> str:
    return f"{one.number} ←" if one.number == result.chosen else str(one.number)


def _parts(result: SearchResult) -> Table:
    rows: list[list[object]] = [
        [
            _name(one, result),
            " ".join(f"{step:.2f}" for step in one.position_m),
            " ".join(f"{step:.2f}" for step in one.look_at_m[:2]),
            one.camera,
            one.filter or "none",
            f"{one.emitter}, {1e3 * one.current_a:g} mA"
            + (f", {supply_words(one)}" if one.cell and _cells_differ(result) else ""),
        ]
        for one in shown(result)
    ]
    columns = ["no.", "stands at x y z [m]", "looks at x y [m]", "camera", "filter", "light"]
    return "Where they stand and what they are made of", columns, rows


def _slips(result: SearchResult) -> Table:
    rows: list[list[object]] = []
    for one in shown(result):
        cells: list[object] = [
            _name(one, result),
            digits(1e3 * one.error_worst_m),
            f"{one.build_s / 60:.0f}",
        ]
        for slip in one.slips:
            cells.append(f"{digits(1e3 * one.error_rms_m)} → {digits(1e3 * slip.error_rms_m)}")
            cells.append(f"{100 * one.coverage:.0f} → {100 * slip.coverage:.0f}")
        rows.append(cells)
    columns = [
        "no.", "worst error [mm]", "build [min]", "2 cm off: error [mm]", "covers [%]",
        "1° off: error [mm]", "covers [%]",
    ]  # fmt: skip
    title = "Worst error, time to build, and a camera put a little off and registered there"
    return title, columns, rows


def _chances(result: SearchResult) -> Table:
    """How probable it is that all targets are met."""
    rows: list[list[object]] = []
    for one in shown(result):
        found = one.chance
        if found is None:
            rows.append([_name(one, result), None, None, None, None])
            continue
        rows.append(
            [
                _name(one, result),
                f"{100 * found.probability:.0f}",
                f"{100 * found.low:.0f} to {100 * found.high:.0f}",
                f"{found.met} of {found.draws}",
                found.not_known,
            ]
        )
    columns = ["no.", "probability [%]", "95 % interval [%]", "met in draws", "not known in"]
    return (
        "All targets met: how probable, by the doubts of parts and room",
        columns,
        rows,
    )


def _more(result: SearchResult) -> Table:
    rows: list[list[object]] = [
        [f"{one.amount:g}", f"{one.spent:.2f}", one.number, one.words] for one in result.more
    ]
    unit = result.currency
    columns = [f"up to [{unit}]", f"costs [{unit}]", "no. [1]", "brings"]
    return "What more money would buy", columns, rows


def _thrown_out(result: SearchResult) -> Table:
    rows: list[list[object]] = [
        [one.of, one.count, one.words, "; ".join(each.rstrip(".") for each in one.examples)]
        for one in result.thrown_out
    ]
    return (
        "Thrown out (a candidate counts under every reason that holds of it)",
        ["of", "how many [1]", "because it", "such as"],
        rows,
    )


def _orders(result: SearchResult) -> Table:
    rows: list[list[object]] = [
        [
            line.what,
            line.count,
            line.spares,
            None if line.amount is None else f"{line.amount:.2f}",
            f"{line.date} ({line.basis})" if line.date else "not known",
        ]
        for line in result.orders
    ]
    rows.append(["all priced lines", None, None, f"{result.sum_of_orders:.2f}", ""])
    columns = ["order", "pieces [1]", "spares [1]", f"amount [{result.currency}]", "price of"]
    return f"To order for number {result.chosen}", columns, rows


def _hours(seconds: float) -> str | None:
    return digits(seconds / 3600.0) if math.isfinite(seconds) else None
