// Looks and placings: thorns whose points meet at the mark, within a row of dashes that go out while
// it is held; and where the bead of a look stands before the display.
import {DASHES, drawDashes} from "./dashes.js";
import {muted} from "./letters.js";
import {begin, fillDisplay} from "./marks.js";
import {judged, measured} from "./survey_window.js";
import {text} from "./texts.js";
import {tone} from "./tone.js";

const at = id => document.getElementById(id);
const SVG = "http://www.w3.org/2000/svg";
const LONG = 0.05, WIDE = 0.16; // of a thorn: share of the display's shorter side, and of its length
const WORDS = ["begin", "back", "skip", "finish"];
const KEYS = {Enter: "begin", PageDown: "begin", b: "back", PageUp: "back", s: "skip", k: "finish"};
let display = null, mark = null, state = null, done = null, begun = false;

const link = begin("steps", message => {
  if (message.hello) display = message.hello.display_px;
  if ("mark" in message) {
    sing(message.mark);
    mark = message.mark;
  }
  if (message.state) state = message.state;
  if (message.done) done = message.done.act === "register" ? message.done.result : null;
  if (message.state?.stage === "starting") done = null;
  draw();
});

const going = () => state?.act === "register" && state.stage === "running";
const told = () => (going() ? state.register : null);

function sing(now) {
  if (!at("sound").checked || !begun || !mark) return;
  if (now?.dashes_left < mark.dashes_left) tone(440 + 20 * (DASHES - now.dashes_left), 0.05);
  else if (mark.dashes_left === 0) tone(880, 0.25);
}

function shape(kind, attributes, words) {
  const made = document.createElementNS(SVG, kind);
  for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
  if (words !== undefined) made.textContent = words;
  at("field").append(made);
}

function drawThorns(x, y, long) {
  const half = long * WIDE;
  const d = [[1, 0], [-1, 0], [0, 1], [0, -1]].map(([a, b]) =>
    `M${x} ${y}L${x + a * long - b * half} ${y + b * long - a * half}`
    + `L${x + a * long + b * half} ${y + b * long + a * half}Z`).join("");
  shape("path", {class: "thorn", d});
}

/** Where on the display the bead stands before it: told beside the thorns, away from the words. */
function drawBead(px, long, low) {
  const [x, y] = px(mark.bead_px), up = low ? -1 : 1, aside = 2.2 * long;
  shape("circle", {class: "bead", cx: x, cy: y, r: long / 3});
  shape("line", {class: "lead", x1: x, y1: y + up * long / 3, x2: x, y2: y + up * (aside - long / 3)});
  const end = x > innerWidth / 2;
  shape("text", {class: "name", x, y: y + up * aside, "text-anchor": end ? "end" : "start"},
    text("steps.bead", {before: mark.bead_mm}));
}

function drawField() {
  at("field").replaceChildren();
  if (!mark || !display || !going()) return;
  const px = ([x, y]) => [x / display[0] * innerWidth, y / display[1] * innerHeight];
  const [x, y] = px([mark.x_px, mark.y_px]), long = Math.max(20, LONG * Math.min(innerWidth, innerHeight));
  const low = y < innerHeight / 2;
  at("guide").classList.toggle("low", low);
  if (mark.bead_px) drawBead(px, long, low);
  drawDashes(shape, x, y, long / 5, 1.4 * long, mark.dashes_left);
  drawThorns(x, y, long);
}

/** Says it only when it changes, so that a reader aloud is not flooded. */
function say(id, words) {
  if (at(id).textContent !== words) at(id).textContent = words;
}

function whatWords() {
  const stage = told()?.stage;
  if (stage === "finding") return text("steps.finding");
  if (told()?.method === "swing") return text("steps.swing");
  if (!mark) return text("steps.idle");
  if (stage === "held") return text("steps.hold");
  return text(`steps.${mark.kind}`, mark);
}

function cameWords() {
  const last = told()?.last;
  if (!last) return "";
  return text(`steps.came_${last.came}`, {number: last.number, why: last.why_not});
}

function windowWords() {
  if (!mark || !display) return "";
  const window = measured();
  const key = judged(window, {display_px: display, size_px: display, first_px: [0, 0]});
  if (["good", "scaled"].includes(key)) return "";
  const px = ([x, y]) => `${x}\u00a0×\u00a0${y}`;
  return text("steps.window", {device: px(window.device), display: px(display)});
}

function list(sentences) {
  at("reasons").replaceChildren(...sentences.map(words => {
    const item = document.createElement("li");
    item.textContent = words;
    return item;
  }));
}

/** How it ended, in words; whether it has. */
function drawEnd() {
  const failed = state?.act === "register" && state.stage === "failed";
  const kept = !going() && done?.method ? done : null;
  at("guide").classList.toggle("over", Boolean(failed || kept));
  if (failed) {
    say("count", text("steps.failed"));
    list((state.findings ?? []).map(each => each.sentence));
  } else if (kept) {
    say("count", text(kept.vouched ? "steps.vouched" : "steps.not_vouched"));
    list(kept.reasons);
  } else list([]);
  if (failed || kept) {
    say("what", failed ? "" : text("steps.kept"));
    say("came", "");
  }
  return Boolean(failed || kept);
}

function draw() {
  if (!begun) return;
  drawField();
  say("fits", windowWords());
  const stage = told()?.stage, over = drawEnd();
  at("choices").hidden = over || !["told", "held"].includes(stage);
  at("begin").disabled = stage !== "told";
  if (over) return;
  const step = told()?.step;
  say("count", step ? text("steps.count", step) : "");
  say("what", whatWords());
  say("came", cameWords());
}

function word(one) {
  if (!at("choices").hidden && !at(one).disabled) link.say({say: {word: one}});
}

at("start").addEventListener("click", async () => {
  await fillDisplay();
  begun = true;
  at("sheet").hidden = true;
  at("stage").hidden = false;
  link.begun();
  draw();
});
for (const one of WORDS) at(one).addEventListener("click", () => word(one));
addEventListener("resize", draw);
addEventListener("fullscreenchange", draw);
addEventListener("keydown", event => {
  if (!begun || event.repeat || muted(event) || event.ctrlKey || event.altKey || event.metaKey) return;
  const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
  if (key === "f") fillDisplay();
  else if (key === "n") at("sound").checked = !at("sound").checked;
  else if (key in KEYS && (key !== "Enter" || event.target.tagName !== "BUTTON")) {
    if (key.startsWith("Page")) event.preventDefault();
    word(KEYS[key]);
  }
});
