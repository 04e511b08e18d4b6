// The page's own sheet: it draws from pointer events alone, as any page would.
import {state} from "./pointer.js";

const sheet = document.getElementById("sheet"), draw = sheet.getContext("2d");
const connection = document.getElementById("connection"), pens = document.getElementById("pens");
const notes = document.getElementById("notes"), hide = document.getElementById("hide");
const PATTERNS = [[], [14, 8], [3, 7], [20, 6, 4, 6]]; // told apart without colour too
const STEP_PX = 12; // of the keyboard's pen
const KEYBOARD = "keyboard";
const strokes = []; // {pen, name, points}
const active = new Map();
const order = []; // names, in the order in which they came
let pen = null; // the keyboard's: {x, y, down}
let wanted = false;

function colours() {
  const style = getComputedStyle(document.documentElement);
  return ["--ember", "--reed", "--ink"].map(name => style.getPropertyValue(name));
}

function paint() {
  wanted = false;
  const ratio = devicePixelRatio, palette = colours();
  if (sheet.width !== Math.round(innerWidth * ratio) || sheet.height !== Math.round(innerHeight * ratio)) {
    [sheet.width, sheet.height] = [Math.round(innerWidth * ratio), Math.round(innerHeight * ratio)];
  }
  draw.setTransform(ratio, 0, 0, ratio, 0, 0);
  draw.clearRect(0, 0, innerWidth, innerHeight);
  draw.lineWidth = 4;
  draw.lineCap = draw.lineJoin = "round";
  for (const {pen: number, points} of strokes) {
    draw.strokeStyle = palette[number % palette.length];
    draw.setLineDash(PATTERNS[number % PATTERNS.length]);
    draw.beginPath();
    draw.moveTo(...points[0]);
    for (const point of points) draw.lineTo(...point);
    draw.stroke();
  }
  draw.setLineDash([]);
  draw.lineWidth = 2;
  for (const {pen: number, name, points} of active.values()) {
    const [x, y] = points.at(-1);
    draw.strokeStyle = draw.fillStyle = palette[number % palette.length];
    draw.beginPath();
    draw.arc(x, y, 14, 0, 7);
    draw.stroke();
    draw.font = "1rem system-ui, sans-serif";
    draw.fillText(name, x + 20, y + 5);
  }
  if (pen) {
    draw.strokeStyle = palette[2];
    draw.strokeRect(pen.x - 8, pen.y - 8, 16, 16);
  }
}

function repaint() {
  if (!wanted) requestAnimationFrame(paint);
  wanted = true;
}

function begin(id, name, x, y) {
  if (!order.includes(name)) order.push(name);
  const stroke = {pen: order.indexOf(name), name, points: [[x, y]]};
  strokes.push(stroke);
  active.set(id, stroke);
  count();
}

function extend(id, x, y) {
  active.get(id)?.points.push([x, y]);
  repaint();
}

function finish(id) {
  active.delete(id);
  count();
}

function count() {
  const names = [...active.values()].map(stroke => stroke.name);
  pens.textContent = names.length ? `Lit: ${names.join(", ")}.` : "No stylus is lit.";
  repaint();
}

sheet.addEventListener("pointerdown", event => {
  sheet.setPointerCapture(event.pointerId);
  begin(event.pointerId, event.rushlight?.carried ?? event.pointerType, event.clientX, event.clientY);
});
sheet.addEventListener("pointermove", event => {
  for (const each of event.getCoalescedEvents()) extend(event.pointerId, each.clientX, each.clientY);
});
for (const type of ["pointerup", "pointercancel"]) {
  sheet.addEventListener(type, event => finish(event.pointerId));
}

const actions = {
  c() { strokes.length = 0; for (const stroke of active.values()) strokes.push(stroke); repaint(); },
  f() { document.fullscreenElement ? document.exitFullscreen() : document.documentElement.requestFullscreen(); },
  h() {
    notes.hidden = !notes.hidden;
    hide.setAttribute("aria-expanded", String(!notes.hidden));
    hide.firstChild.textContent = notes.hidden ? "Show the notes " : "Hide the notes ";
  },
};
for (const [id, key] of [["clear", "c"], ["fill", "f"], ["hide", "h"]]) {
  document.getElementById(id).addEventListener("click", actions[key]);
}

const ARROWS = {ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1]};
addEventListener("keydown", event => {
  if (event.ctrlKey || event.altKey || event.metaKey) return;
  if (ARROWS[event.key]) {
    pen ??= {x: innerWidth / 2, y: innerHeight / 2, down: false};
    pen.x = Math.min(Math.max(pen.x + STEP_PX * ARROWS[event.key][0], 0), innerWidth);
    pen.y = Math.min(Math.max(pen.y + STEP_PX * ARROWS[event.key][1], 0), innerHeight);
    if (pen.down) extend(KEYBOARD, pen.x, pen.y);
    repaint();
  } else if (event.key === " " && pen && event.target === document.body) {
    pen.down = !pen.down;
    pen.down ? begin(KEYBOARD, KEYBOARD, pen.x, pen.y) : finish(KEYBOARD);
  } else if (actions[event.key.toLowerCase()]) {
    actions[event.key.toLowerCase()]();
  } else return;
  event.preventDefault();
});

const WORDS = {
  connecting: "Connecting to the tracker …",
  waiting: "The tracker does not answer; trying again. Lines begun were ended.",
  stopped: "Not connected.",
};

// In words, and at most once a second, so that a reader aloud is not flooded.
let said = "";
function say() {
  let text = WORDS[state.connection] ?? "Connected.";
  if (state.connection === "connected" && Number.isFinite(state.delay)) {
    text = `Connected. From camera to page ${state.delay.toFixed(1)} ± ${state.doubt.toFixed(1)} ms at the last place.`;
  }
  const plain = state.connection;
  connection.className = plain;
  connection.setAttribute("aria-live", plain === said ? "off" : "polite");
  if (connection.textContent !== text) connection.textContent = text;
  said = plain;
}
addEventListener("rushlight", () => { if (state.connection !== said) say(); });
setInterval(say, 1000);
addEventListener("resize", repaint);
matchMedia("(prefers-color-scheme: dark)").addEventListener("change", repaint);
say();
repaint();
