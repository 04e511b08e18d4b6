"""A search in a picture that answers: one page that needs no network, by mouse or by keys."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from html import escape
from typing import Any

from rushlight.look import DARK, EMBER, INK, PAPER, REED
from rushlight.plan.search_choice import (
    chance_words,
    place_words,
    supply_words,
    unpriced,
    worth_words,
)
from rushlight.records.search import SearchCandidate, SearchResult

MEASURES = (
    ("cost", "cost of the parts whose price is known", "least is best"),
    ("error", "error, root-mean-square [mm]", "least is best"),
    ("worst", "largest error [mm]", "least is best"),
    ("covers", "covers, with shadow [%]", "most is best"),
    ("clear", "covers, one upright body alone [%]", "most is best"),
    ("delay", "mean delay [ms]", "least is best"),
    ("hours", "lasts [h]", "most is best"),
    ("minutes", "time to build [min]", "least is best"),
    ("chance", "all targets met [%]", "most is best"),
)
"""Key, words and direction of what can stand on an axis."""


def search_page(result: SearchResult, still: bytes) -> bytes:
    """The page of a search.

    Parameters
    ----------
    result
        As written to ``search.json``.
    still
        The same as a picture that stands still (SVG), for readers without scripts.
    """
    dark = dict(zip(("paper", "ink", "ember", "reed"), DARK, strict=True))
    light = {"paper": PAPER, "ink": INK, "ember": EMBER, "reed": REED}
    colours = [";".join(f"--{k}:{v}" for k, v in theme.items()) for theme in (light, dark)]
    # The picture opens with an XML declaration, which has no place inside a page.
    drawn = still.decode()[still.decode().index("<svg") :]
    title = f"{result.rig_name}: what was found"
    invented = "The rig is invented. " if result.rig_basis == "invented" else ""
    why = "".join(f"<p>{escape(line)}</p>" for line in result.why)
    warned = "".join(f"<p>{escape(str(each.finding()))}</p>" for each in result.findings)
    findings = f"<h2>Findings</h2>{warned}" if warned else ""
    cautions = "".join(f"<p>{escape(text)}</p>" for text in result.cautions.values())
    page = f"""<!doctype html>
<html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width">
<title>{escape(title)}</title>
<style>:root{{color-scheme:light dark;{colours[0]}}}
@media (prefers-color-scheme:dark){{:root{{{colours[1]}}}}}{_STYLE}</style>
<h1>{escape(title)}</h1>
<p>{invented}Everything here is predicted, nothing measured. Each mark is a rig that no other beats
in everything; its shape tells where the camera stands. Point at one, or go to it with the Tab key
and on with the arrow keys.</p>
<noscript>{drawn}</noscript>
<p id="choose" hidden><label>up: <select id="up"></select></label>
<label>across: <select id="across"></select></label></p>
<div id="pictures" hidden><svg id="front" viewBox="0 0 640 470" role="group"
aria-label="Winners: two of their figures against one another"></svg>
<svg id="room" viewBox="0 0 420 470" role="img"
aria-label="The room from above, the surface on top"></svg></div>
<p id="legend" hidden></p>
<section id="told" aria-live="polite" hidden></section>
<h2>Why this one</h2>{why}
<h2>Eyes and hands</h2>{cautions}{findings}
<script type="application/json" id="found">{_as_json(result)}</script>
<script>{_SCRIPT}</script>
</html>
"""
    return page.encode()


def _as_json(result: SearchResult) -> str:
    own = [_plain(result.own, result.currency)] if result.own else []
    # The lines without a price are those that a search does not choose among: alike in each.
    without = unpriced(result.orders)
    content = {
        "chosen": result.chosen,
        "measures": [
            [key, f"{words} [{result.currency}]" if key == "cost" else words, best]
            for key, words, best in MEASURES
            if key != "chance" or any(each.chance for each in result.candidates)
        ],
        "surface": result.surface_m,
        "places": [
            {"id": each.id, "low": each.low_m, "high": each.high_m} for each in result.places
        ],
        "rigs": [*(_plain(each, result.currency, without) for each in result.candidates), *own],
    }
    # "</" would end the script element.
    return json.dumps(content, ensure_ascii=False, allow_nan=False).replace("</", "<\\/")


def _plain(one: SearchCandidate, currency: str, without: Sequence[str] = ()) -> dict[str, Any]:
    """A candidate as the page's script takes it; unknown is null."""
    figures = {
        "cost": one.cost,
        "error": 1e3 * one.error_rms_m,
        "worst": 1e3 * one.error_worst_m,
        "covers": 100.0 * one.coverage,
        "clear": 100.0 * one.coverage_clear,
        "delay": 1e3 * one.delay_s,
        "hours": one.battery_s / 3600.0,
        "minutes": one.build_s / 60.0,
        "chance": 100.0 * one.chance.probability if one.chance else math.nan,
    }
    light = f"{one.emitter} at {1e3 * one.current_a:g} mA"
    fed = f", on {supply_words(one)}" if one.cell else ""
    slips = [
        f"{each.by} off in {each.what}: error {1e3 * each.error_rms_m:.2f} mm, covers "
        f"{100 * each.coverage:.0f} %"
        for each in one.slips
        if math.isfinite(each.error_rms_m)
    ]
    return {
        "number": one.number,
        "place": one.place,
        "at": one.position_m,
        "look": one.look_at_m,
        "figures": {k: v if math.isfinite(v) else None for k, v in figures.items()},
        "told": [
            f"stands {place_words(one)}",
            # Which parts of the rig as it stands have no price, the result does not hold.
            worth_words(one, currency, without)
            + (" for the parts whose price is known" if one.number == 0 else ""),
            f"made of {one.camera}, {one.filter or 'no filter'}, {light}{fed}",
            *slips,
            *([f"all targets met: {chance_words(one)}"] if one.chance else []),
            f"misses: {', '.join(one.missed) or 'no target'}",
            *([f"warned of: {', '.join(one.warned)}"] if one.warned else []),
        ],
    }


_STYLE = """
body{margin:1.5rem auto;padding:0 1rem;max-width:70rem;background:var(--paper);color:var(--ink);
font:1rem/1.5 system-ui,sans-serif}
h1{font-size:1.4rem}h2{font-size:1.1rem;margin-top:2rem}p{max-width:45rem;margin:.5rem 0}
#pictures{display:flex;flex-wrap:wrap;gap:1rem}#pictures[hidden]{display:none}
#front{flex:3 1 30rem}#room{flex:2 1 18rem}svg{max-width:100%;height:auto}
svg text{fill:var(--ink);font:14px system-ui,sans-serif}
.line{stroke:var(--ink);stroke-width:1;fill:none}.faint{stroke:var(--ink);opacity:.25;fill:none}
.box{stroke:var(--reed);stroke-width:1.5;stroke-dasharray:6 4;fill:none}
.ray{stroke:var(--ember);stroke-width:2;fill:none}
.mark{fill:var(--paper);stroke:var(--reed);stroke-width:2;cursor:pointer}
.mark.chosen{fill:var(--ember);stroke:var(--ember)}.mark.own{fill:var(--ink);stroke:var(--ink)}
.mark.shown{stroke:var(--ink);stroke-width:4}.mark:focus{outline:none}
select{font:inherit;color:inherit;background:var(--paper);border:1px solid var(--ink);
margin-right:1rem;max-width:100%}
:focus-visible{outline:3px solid var(--ember);outline-offset:2px}
#told{border-left:4px solid var(--ember);padding-left:1rem;min-height:11rem}
#told ul{margin:.3rem 0;padding-left:1.2rem}
#legend svg{width:1.2em;height:1.2em;vertical-align:-.2em}
"""

_SCRIPT = """
"use strict";
const found = JSON.parse(document.getElementById("found").textContent);
const byId = (id) => document.getElementById(id);
const shapes = ["M0-8A8 8 0 1 0 .01-8Z", "M-7-7H7V7H-7Z", "M0-9L9 7H-9Z", "M0-9L9 0 0 9-9 0Z",
  "M0 9L9-7H-9Z", "M-3-9H3V-3H9V3H3V9H-3V3H-9V-3H-3Z"];
const shapeOf = (place) => {
  const at = found.places.findIndex((each) => each.id === place);
  return at < 0 ? "M-8-3L0-9 8-3 5 8H-5Z" : shapes[at % shapes.length];
};
const drawn = (name, attributes, parent, text) => {
  const made = document.createElementNS("http://www.w3.org/2000/svg", name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  if (text !== undefined) made.textContent = text;
  parent.append(made);
  return made;
};
const nameOf = (rig) => rig.number === 0 ? "The rig as it stands"
  : `Number ${rig.number}${rig.number === found.chosen ? ", the one to take" : ""}`;
const kindOf = (rig) => rig.number === 0 ? "own" : rig.number === found.chosen ? "chosen" : "";
// What is to be taken, and what stands there, lies on top of the others.
const inOrder = (rigs) => [...rigs].sort((a, b) => !!kindOf(a) - !!kindOf(b));
const ticks = (least, most) => {
  const raw = (most - least) / 5, power = 10 ** Math.floor(Math.log10(raw));
  const step = power * [1, 2, 5, 10].find((each) => each * power >= raw);
  const made = [];
  for (let at = Math.ceil(least / step) * step; at <= most + 1e-9; at += step) made.push(at);
  return made.map((at) => [at, String(+at.toPrecision(6))]);
};
const axis = (key) => {
  const values = found.rigs.map((rig) => rig.figures[key]).filter((each) => each !== null);
  if (!values.length) return [0, 1];
  const least = Math.min(...values), most = Math.max(...values);
  const margin = 0.06 * (most - least) || Math.abs(most) * 0.05 || 1;
  return [least - margin, most + margin];
};
let shown = null;
const tell = (rig) => {
  shown = rig;
  for (const each of document.querySelectorAll(".mark"))
    each.classList.toggle("shown", +each.dataset.number === rig.number);
  const told = byId("told");
  told.replaceChildren();
  const heading = document.createElement("strong");
  heading.textContent = nameOf(rig);
  const list = document.createElement("ul");
  for (const line of rig.told) {
    const item = document.createElement("li");
    item.textContent = line;
    list.append(item);
  }
  told.append(heading, list);
  byId("ray").setAttribute("d",
    `M${across(rig.at[0])} ${away(rig.at[2])}L${across(rig.look[0])} ${away(rig.look[2])}`);
};
const mark = (rig, parent, x, y, focusable) => {
  const made = drawn("path", { d: shapeOf(rig.place), transform:
    `translate(${x} ${y}) scale(${kindOf(rig) === "chosen" ? 1.5 : 1})`,
    class: `mark ${kindOf(rig)}`, "data-number": rig.number }, parent);
  drawn("title", {}, made, `${nameOf(rig)}: ${rig.told.join("; ")}`);
  made.addEventListener("pointerenter", () => tell(rig));
  made.addEventListener("click", () => tell(rig));
  if (!focusable) return;
  made.setAttribute("tabindex", rig === (shown ?? found.rigs[0]) ? 0 : -1);
  made.setAttribute("role", "img");
  made.setAttribute("aria-label", `${nameOf(rig)}: ${rig.told.join("; ")}`);
  made.addEventListener("focus", () => tell(rig));
};
const draw = () => {
  const front = byId("front"), box = [80, 20, 540, 380];
  const keys = [byId("across").value, byId("up").value], spans = keys.map(axis);
  const x = (v) => box[0] + box[2] * (v - spans[0][0]) / (spans[0][1] - spans[0][0]);
  const y = (v) => box[1] + box[3] * (1 - (v - spans[1][0]) / (spans[1][1] - spans[1][0]));
  const focused = front.contains(document.activeElement);
  front.replaceChildren();
  drawn("path", { d: `M80 20V400H620`, class: "line" }, front);
  for (const [at, text] of ticks(...spans[0])) {
    drawn("path", { d: `M${x(at)} 20V400`, class: "faint" }, front);
    drawn("text", { x: x(at), y: 420, "text-anchor": "middle" }, front, text);
  }
  for (const [at, text] of ticks(...spans[1])) {
    drawn("path", { d: `M80 ${y(at)}H620`, class: "faint" }, front);
    drawn("text", { x: 72, y: y(at) + 5, "text-anchor": "end" }, front, text);
  }
  const words = keys.map((key) => found.measures.find((each) => each[0] === key));
  drawn("text", { x: 350, y: 455, "text-anchor": "middle" }, front,
    `${words[0][1]}: ${words[0][2]}`);
  drawn("text", { transform: "translate(20 210) rotate(-90)", "text-anchor": "middle" }, front,
    `${words[1][1]}: ${words[1][2]}`);
  const rigs = found.rigs.filter((rig) => keys.every((key) => rig.figures[key] !== null));
  for (const rig of inOrder(rigs))
    mark(rig, front, x(rig.figures[keys[0]]), y(rig.figures[keys[1]]), true);
  if (focused && shown) front.querySelector(`[data-number="${shown.number}"]`)?.focus();
};
const step = (by) => {
  const key = byId("across").value, up = byId("up").value;
  const rigs = found.rigs.filter((rig) => rig.figures[key] !== null && rig.figures[up] !== null)
    .sort((a, b) => a.figures[key] - b.figures[key] || a.figures[up] - b.figures[up]);
  const next = rigs[(rigs.indexOf(shown) + by + rigs.length) % rigs.length];
  for (const each of byId("front").querySelectorAll(".mark")) {
    const here = +each.dataset.number === next.number;
    each.setAttribute("tabindex", here ? 0 : -1);
    if (here) each.focus();
  }
};
const corners = [[0, 0, 0], [...found.surface, 0],
  ...found.places.flatMap((p) => [p.low, p.high]), ...found.rigs.map((rig) => rig.at)];
const ends = (at) => [Math.min, Math.max].map((of) => of(...corners.map((c) => c[at])));
const [left, right] = ends(0), [near, far] = ends(2);
const scale = Math.min(360 / (right - left || 1), 400 / (far - near || 1));
const across = (x) => 30 + scale * (x - left), away = (z) => 45 + scale * (z - near);
// What is hidden has no size, by which words are placed.
for (const id of ["choose", "pictures", "legend", "told"]) byId(id).hidden = false;
const room = byId("room");
drawn("path", { d: `M${across(0)} ${away(0)}H${across(found.surface[0])}`, class: "line",
  "stroke-width": 5, style: "stroke-width:5" }, room);
const heading = drawn("text", { x: across(found.surface[0] / 2), y: away(0) - 12,
  "text-anchor": "middle" }, room,
  `the surface, ${found.surface[0].toFixed(2)} m wide, from above`);
const won = (id) => found.rigs.some((rig) => rig.place === id);
// Each box's word beside it, where it meets no mark, no side of a box and no other word.
const label = (boxes) => {
  const area = (x, y, width, height) => ({ x, y, width, height });
  const apart = (a, b) => a.x + a.width <= b.x || b.x + b.width <= a.x
    || a.y + a.height <= b.y || b.y + b.height <= a.y;
  const blocked = [heading.getBBox(), ...found.rigs.map((rig) =>
    area(across(rig.at[0]) - 13, away(rig.at[2]) - 13, 26, 26)),
    ...boxes.flatMap(([, x0, y0, x1, y1]) => [area(x0 - 1, y0, 2, y1 - y0),
      area(x1 - 1, y0, 2, y1 - y0), area(x0, y0 - 1, x1 - x0, 2), area(x0, y1 - 1, x1 - x0, 2)])];
  for (const [words, x0, y0, x1, y1] of boxes) {
    const middle = (y0 + y1) / 2 + 5;
    const places = [[x0 + 2, y1 + 16, "start"], [x0 + 2, y0 - 7, "start"],
      [x1 - 2, y1 + 16, "end"], [x1 - 2, y0 - 7, "end"], [x1 + 6, middle, "start"],
      [x0 - 6, middle, "end"], [x0, y1 + 34, "start"], [x0, y0 - 25, "start"]];
    const text = drawn("text", { class: "place" }, room, words);
    const put = ([x, y, anchor]) => {
      for (const [key, value] of [["x", x], ["y", y], ["text-anchor", anchor]])
        text.setAttribute(key, value);
      return text.getBBox();
    };
    const free = places.find((place) => {
      const at = put(place);
      return at.x >= 0 && at.x + at.width <= 420 && at.y >= 0 && at.y + at.height <= 470
        && blocked.every((other) => apart(at, other));
    });
    blocked.push(put(free ?? places[0]));
  }
};
for (const place of found.places) {
  const [x, z] = [across(place.low[0]), away(place.low[2])];
  drawn("rect", { x, y: z, width: Math.max(across(place.high[0]) - x, 2),
    height: Math.max(away(place.high[2]) - z, 2), class: "box" }, room);
}
label(found.places.map((place) => [place.id + (won(place.id) ? "" : ": none shown"),
  across(place.low[0]), away(place.low[2]), across(place.high[0]), away(place.high[2])]));
drawn("path", { id: "ray", d: "", class: "ray" }, room);
for (const rig of inOrder(found.rigs)) mark(rig, room, across(rig.at[0]), away(rig.at[2]), false);
for (const [id, usual] of [["up", "covers"], ["across", "error"]]) {
  for (const [key, words] of found.measures) {
    const option = document.createElement("option");
    option.value = key;
    option.textContent = words;
    option.selected = key === usual;
    byId(id).append(option);
  }
  byId(id).addEventListener("change", draw);
}
for (const [shape, kind, words] of [
  ...found.places.filter((p) => won(p.id)).map((p) => [shapeOf(p.id), "", `in "${p.id}"`]),
  [shapeOf((found.rigs.find((rig) => rig.number === found.chosen) ?? found.rigs[0]).place),
    "chosen", "large and filled: the one to take"],
  ...found.rigs.filter((rig) => rig.number === 0)
    .map((rig) => [shapeOf(rig.place), "own", "small and filled: the rig as it stands"])]) {
  const picture = drawn("svg", { "aria-hidden": "true",
    viewBox: kind === "chosen" ? "-9 -9 18 18" : "-12 -12 24 24" }, byId("legend"));
  drawn("path", { d: shape, class: `mark ${kind}` }, picture);
  byId("legend").append(` ${words}   `);
}
byId("front").addEventListener("keydown", (event) => {
  const by = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[event.key];
  if (by) { event.preventDefault(); step(by); }
});
shown = found.rigs.find((rig) => rig.number === found.chosen) ?? found.rigs[0];
draw();
tell(shown);
"""
