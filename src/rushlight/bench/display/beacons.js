// Beacons: a filled disc within a row of dashes, which go out one by one while the light is held.
import {DASHES, drawDashes} from "./dashes.js";
import {muted} from "./letters.js";
import {begin, fillDisplay} from "./marks.js";
import {text} from "./texts.js";
import {tone} from "./tone.js";

const at = id => document.getElementById(id);
const SVG = "http://www.w3.org/2000/svg";
const ACTS = ["register", "ready"]; // whose touches are shown here
let standing = false, known = ""; // whether a beacon is to be touched; the last that was told
let display = null, beacon = null, state = null, done = null, begun = false;

const link = begin("beacons", message => {
  if (message.hello) display = message.hello.display_px;
  if ("beacon" in message) {
    const before = beacon;
    beacon = message.beacon;
    standing = beacon !== null;
    sing(before);
  }
  if (message.state) {
    state = message.state;
    const now = JSON.stringify(state.register ?? null);
    // What is told anew after a touch: all touched, if it is judged.
    if (now !== known && state.register?.stage === "judged") standing = false;
    known = now;
  }
  if (message.done) done = ACTS.includes(message.done.act) ? message.done : null;
  if (message.state?.stage === "starting") done = null;
  draw();
});

function sing(before) {
  if (!at("sound").checked || !begun) return;
  if (before && beacon && before.number === beacon.number) {
    if (beacon.dashes_left < before.dashes_left) tone(440 + 20 * (DASHES - beacon.dashes_left), 0.05);
  } else if (before) tone(880, 0.25);
}

function shape(kind, attributes) {
  const made = document.createElementNS(SVG, kind);
  for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
  at("field").append(made);
}

function drawBeacon() {
  at("field").replaceChildren();
  if (!standing || !display) return;
  const x = beacon.x_px / display[0] * innerWidth, y = beacon.y_px / display[1] * innerHeight;
  const unit = Math.max(5, Math.min(innerWidth, innerHeight) / 100);
  drawDashes(shape, x, y, unit, 4 * unit, beacon.dashes_left);
  shape("circle", {class: "disc", cx: x, cy: y, r: 2 * unit});
  at("words").classList.toggle("low", y < innerHeight / 2);
}

function drawVerdict() {
  const told = state?.register, failed = ACTS.includes(state?.act) && state.stage === "failed";
  const morning = done?.act === "ready" ? done.result : null;
  const judged = morning ?? done?.result
    ?? (state?.act === "register" && told?.stage === "judged" && !standing ? told : null);
  at("verdict").hidden = !judged && !failed;
  if (failed) {
    at("judged").textContent = text("beacons.failed");
    at("error").textContent = (state.findings ?? []).map(each => each.sentence).join(" ");
    at("reasons").replaceChildren();
  } else if (judged) {
    const vouched = judged.vouched ?? judged.verdict?.vouched;
    at("judged").textContent = morning ? text(morning.go ? "beacons.go" : "beacons.no_go")
      : text(vouched ? "beacons.vouched" : "beacons.not_vouched");
    at("error").textContent = !morning && Number.isFinite(told?.mean_mm)
      ? text("beacons.map", {mean: told.mean_mm.toFixed(1), worst: told.worst_mm.toFixed(1)}) : "";
    at("reasons").replaceChildren(...(judged.reasons ?? judged.verdict?.reasons ?? []).map(words => {
      const item = document.createElement("li");
      item.textContent = words;
      return item;
    }));
  }
  at("kept").hidden = failed || done === null;
  at("choices").hidden = failed || done !== null;
  return judged || failed;
}

function draw() {
  if (!begun) return;
  drawBeacon();
  const over = drawVerdict();
  at("words").hidden = Boolean(over);
  at("count").textContent = standing ? text("beacons.count", beacon) : "";
  at("who").textContent = standing ? text("beacons.who", beacon) : over ? "" : waiting();
}

function waiting() {
  const looking = state?.stage === "running" && state.morning?.stage === "looking";
  return text(looking ? "beacons.looking" : "beacons.idle");
}

function redo() {
  const last = Math.max(0, ...(state?.register?.touches ?? []).map(touch => touch.number));
  if (last) link.say({say: {redo: last}});
}

at("begin").addEventListener("click", async () => {
  await fillDisplay();
  begun = true;
  at("sheet").hidden = true;
  at("stage").hidden = false;
  link.begun();
  draw();
});
at("keep").addEventListener("click", () => link.say({say: {finish: true}}));
at("redo").addEventListener("click", redo);
addEventListener("resize", draw);
addEventListener("keydown", event => {
  // A key that is held means its first stroke alone: beacon after beacon would be passed over.
  if (!begun || event.repeat || muted(event) || event.ctrlKey || event.altKey || event.metaKey) return;
  const key = event.key.toLowerCase();
  if (key === "r") redo();
  else if (key === "s") link.say({say: {skip: true}});
  else if (key === "n") at("sound").checked = !at("sound").checked;
  else if (key === "enter" && !at("choices").hidden && !at("verdict").hidden
    && event.target === document.body) link.say({say: {finish: true}});
});
