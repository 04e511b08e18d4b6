// The survey's marks: thorns whose points meet at the very place, and what to read between them.
import {muted} from "./letters.js";
import {begin, fillDisplay} from "./marks.js";
import {judged, measured, notes} from "./survey_window.js";
import {asked, fill, text} from "./texts.js";

const at = id => document.getElementById(id);
const SVG = "http://www.w3.org/2000/svg";
const LONG = 0.09, WIDE = 0.16; // of a thorn: share of the display's shorter side, and of its length
const ASIDE = 0.35; // from a mark to its name, as a share of a thorn's length
const LOOK_EVERY_MS = 2000; // for readings that the desk keeps meanwhile; our own choice
const rig = new URLSearchParams(location.search).get("rig") ?? "";
let told = null, latest = "", refused = "", now = 0, begun = false, edges = false, before = "";

const link = begin("survey", () => {});

function shape(kind, attributes, words) {
  const made = document.createElementNS(SVG, kind);
  for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
  if (words !== undefined) made.textContent = words;
  at("field").append(made);
}

const reading = () => told.readings[now - 1];

/** The marks that the reading is about, none while all are shown. */
const meant = () => now && !edges ? [reading().from, reading().to, reading().at].filter(Boolean) : [];

function drawMark(mark, [x, y], share, long, lit) {
  const half = long * WIDE, kind = lit ? " now" : "";
  const ways = [[1, 0], [-1, 0], [0, 1], [0, -1]];
  const d = ways.map(([a, b]) => `M${x} ${y}L${x + a * long - b * half} ${y + b * long - a * half}`
    + `L${x + a * long + b * half} ${y + b * long + a * half}Z`).join("");
  shape("path", {class: `thorn${kind}`, d, "data-mark": mark});
  const [right, low] = [share[0] > 0.75, share[1] > 0.6], aside = ASIDE * long;
  shape("text", {
    class: `name${kind}`, x: x + (right ? -aside : aside), y: y + (low ? -aside : aside),
    "text-anchor": right ? "end" : "start", "dominant-baseline": low ? "auto" : "hanging",
  }, mark);
}

function drawBar({side, percent, box_px}, px) {
  const [x, y] = px(box_px), [wide, high] = px(box_px.slice(2));
  shape("rect", {class: "bar", x, y, width: wide, height: high});
  const aside = 1.6 * Math.max(14, Math.min(innerWidth, innerHeight) * 0.026) / 2;
  const [a, b] = {upper: [0, 1], lower: [0, -1], left: [1, 0], right: [-1, 0]}[side];
  shape("text", {
    class: "percent", x: x + wide / 2 + a * (wide / 2 + aside), y: y + high / 2 + b * (high / 2 + aside),
  }, percent);
}

function drawField() {
  at("field").replaceChildren();
  const {width, height} = at("field").getBoundingClientRect();
  const px = ([x, y]) => [x / told.size_px[0] * width, y / told.size_px[1] * height];
  const long = LONG * Math.min(width, height), lit = meant();
  const places = new Map(told.marks.map(each => [each.mark, [each.x_px, each.y_px]]));
  if (edges) told.edges.forEach(bar => drawBar(bar, px));
  if (now && !edges && reading().to) {
    const [[x1, y1], [x2, y2]] = [reading().from, reading().to].map(mark => px(places.get(mark)));
    shape("line", {class: `way ${reading().kind}${reading().read ? " read" : ""}`, x1, y1, x2, y2});
  }
  for (const [mark, place] of places) {
    const share = place.map((side, axis) => side / told.size_px[axis]);
    drawMark(mark, px(place), share, long, lit.includes(mark));
  }
}

/** Says it only when it changes, so that a reader aloud is not flooded. */
function say(id, words) {
  if (at(id).textContent !== words) at(id).textContent = words;
}

function tellReading() {
  say("asked", headed().replaceAll("-", "\u2011")); // which no line ends at
  say("says", beneath().join(" "));
  at("before").disabled = now === 0;
  at("next").disabled = now === told.readings.length;
}

function headed() {
  if (edges) return text("marks.edges");
  return now ? text(`marks.${reading().kind}`, reading()) : text("marks.all");
}

function beneath() {
  if (edges) return [text("marks.edges_words")];
  if (!now) return [text("marks.all_words")];
  const {number, read, rig_mm} = reading(), of = told.readings.length;
  const says = rig_mm === null ? [] : [text("marks.says", {value: Math.round(rig_mm)})];
  return [text("marks.count", {number, of}), ...says, text(read ? "marks.read" : "marks.unread")];
}

function tellWindow() {
  const window = measured(), key = judged(window, told);
  const px = ([x, y]) => `${x}\u00a0×\u00a0${y}`; // on one line
  const values = {
    css: px(window.css), device: px(window.device), display: px(told.display_px),
    ratio: Number(window.ratio.toFixed(3)), size: px(told.size_px),
    x: Math.round(window.first[0]), y: Math.round(window.first[1]), said: told.first_px.join(", "),
  };
  const fits = ["good", "scaled"].includes(key);
  at("judged").className = `words ${fits ? "fits" : "wrong"}`;
  at("judged").dataset.judged = key;
  say("judged", text(`marks.window_${key}`, values));
  const known = [...notes(window, told), ...(told.typed ? ["typed"] : [])];
  say("beside", [...known.map(note => text(`marks.note_${note}`, values)), refused].join(" ").trim());
  say("size", text(window.ratio === 1 ? "marks.size_plain" : "marks.size_scaled", values));
  // What goes wrong behind hidden words brings them back.
  if (!fits && before !== key) hide(false);
  before = key;
}

function draw() {
  if (!begun || !told) return;
  drawField();
  tellReading();
  tellWindow();
}

function hide(bare) {
  at("stage").classList.toggle("bare", bare);
}

function step(by) {
  now = Math.min(Math.max(now + by, 0), told.readings.length);
  draw();
}

function press(id, on) {
  at(id).setAttribute("aria-pressed", String(on));
  return on;
}

const isDark = () => (document.documentElement.dataset.theme
  ?? (matchMedia("(prefers-color-scheme: dark)").matches ? "dark" : "light")) === "dark";

const acts = {
  before: () => step(-1),
  next: () => step(1),
  edges: () => { edges = press("edges", !edges); draw(); },
  dark: () => {
    document.documentElement.dataset.theme = isDark() ? "light" : "dark";
    press("dark", isDark());
  },
  fill: fillDisplay,
  hide: () => hide(!at("stage").classList.contains("bare")),
};
const KEYS = {ArrowLeft: "before", ArrowRight: "next", e: "edges", d: "dark", f: "fill", h: "hide"};

async function look() {
  if (document.hidden) return;
  try {
    const found = await asked(`/survey.json?rig=${encodeURIComponent(rig)}`);
    refused = "";
    say("fault", "");
    if (JSON.stringify(found) === latest) return;
    [told, latest] = [found, JSON.stringify(found)];
    now = Math.min(now, told.readings.length);
    at("begin").disabled = false;
    at("cautions").replaceChildren(...told.cautions.map(words => {
      const line = document.createElement("p");
      line.textContent = words;
      return line;
    }));
    draw();
  } catch (error) {
    // That the line is cut is said by what looks after it; a refusal has a sentence of its own.
    if (error instanceof TypeError) return;
    refused = error.message;
    say("fault", refused);
  }
}

at("begin").addEventListener("click", async () => {
  await fillDisplay();
  begun = true;
  at("sheet").hidden = true;
  at("stage").hidden = false;
  link.begun();
  draw();
  at("next").focus();
});
for (const [id, act] of Object.entries(acts)) at(id).addEventListener("click", act);
at("field").addEventListener("pointerup", () => hide(false));
addEventListener("resize", draw);
visualViewport?.addEventListener("resize", draw);
addEventListener("fullscreenchange", draw);
addEventListener("keydown", event => {
  if (!begun || muted(event) || event.ctrlKey || event.altKey || event.metaKey) return;
  const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
  const id = KEYS[key];
  if (id && !at(id).disabled) acts[id]();
});
press("dark", isDark());
fill();
await look();
document.body.dataset.ready = "";
setInterval(() => { look(); if (begun && told) tellWindow(); }, LOOK_EVERY_MS);
