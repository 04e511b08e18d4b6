// The planting map: every pointer, of lights or of fingers, moves a row marker of its own.
import "/pointer.js";
import {begin, fillDisplay} from "./marks.js";
import {text} from "./texts.js";

const map = document.getElementById("map"), told = document.getElementById("held");
const SVG = "http://www.w3.org/2000/svg";
const BEDS = [ // name, then left, top, width and height as shares of the map; all invented
  ["long", 0.06, 0.52, 0.40, 0.20], ["kiln", 0.54, 0.52, 0.40, 0.20],
  ["south", 0.06, 0.77, 0.40, 0.18], ["gate", 0.54, 0.77, 0.40, 0.18],
];
const MARKERS = ["leeks", "beans", "kale", "beets", "peas", "oats"];
const REACH = 0.35; // of the map's width, from pointer to marker; no source
const STEP = 0.02;
const [TOP, ROW] = innerWidth < 640 ? [0.32, 0.1] : [0.12, 0.2]; // below the notes
const held = new Map(); // pointerId -> marker

begin("planting", () => {}).begun();

function shape(kind, attributes, into = map) {
  const made = document.createElementNS(SVG, kind);
  for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
  into.append(made);
  return made;
}

const beds = BEDS.map(([name, ...box]) => ({
  box, frame: shape("rect", {class: "bed", rx: 8}),
  words: Object.assign(shape("text", {}), {textContent: text(`planting.bed_${name}`)}),
}));
const markers = MARKERS.map((name, index) => {
  const group = shape("g", {class: "marker", tabindex: 0, role: "button",
    "aria-label": text("planting.marker", {name: text(`planting.${name}`)})});
  const marker = {x: 0.44 + 0.2 * (index % 3), y: TOP + ROW * Math.floor(index / 3),
    group, plate: shape("rect", {rx: 6}, group), words: shape("text", {}, group),
    holder: shape("text", {class: "holder"}, group), pointer: null};
  marker.words.textContent = text(`planting.${name}`);
  group.addEventListener("keydown", event => {
    const way = {ArrowLeft: [-STEP, 0], ArrowRight: [STEP, 0], ArrowUp: [0, -STEP],
      ArrowDown: [0, STEP]}[event.key];
    if (!way) return;
    place(marker, marker.x + way[0], marker.y + way[1]);
    event.preventDefault();
  });
  return marker;
});

function place(marker, x, y) {
  [marker.x, marker.y] = [Math.min(Math.max(x, 0.03), 0.97), Math.min(Math.max(y, 0.03), 0.97)];
  draw(marker);
}

function draw({x, y, plate, words, holder, group}) {
  const wide = Math.min(170, innerWidth * 0.17), high = Math.max(44, innerHeight * 0.065);
  const [px, py] = [x * innerWidth, y * innerHeight];
  for (const [key, value] of [["x", px - wide / 2], ["y", py - high / 2], ["width", wide], ["height", high]]) {
    plate.setAttribute(key, value);
  }
  words.setAttribute("x", px);
  words.setAttribute("y", py + 7);
  words.style.fontSize = `${Math.min(21, wide / 4.5)}px`;
  holder.setAttribute("x", px);
  holder.setAttribute("y", py - high / 2 - 6);
  group.parentNode === map || map.append(group);
}

function layOut() {
  map.setAttribute("viewBox", `0 0 ${innerWidth} ${innerHeight}`);
  for (const {box: [left, top, wide, high], frame, words} of beds) {
    for (const [key, value] of [["x", left * innerWidth], ["y", top * innerHeight],
      ["width", wide * innerWidth], ["height", high * innerHeight]]) frame.setAttribute(key, value);
    words.setAttribute("x", (left + wide / 2) * innerWidth);
    words.setAttribute("y", (top + high) * innerHeight - 12);
    words.style.fontSize = `${Math.min(21, innerWidth * 0.045)}px`;
  }
  markers.forEach(draw);
}

function count() {
  const names = [...held.values()].map(marker => marker.holder.textContent);
  const key = ["nobody", "one"][names.length] ?? "both";
  told.textContent = text(`planting.${key}`, {who: names.join(", ")});
  told.dataset.most = Math.max(Number(told.dataset.most ?? 0), names.length);
}

map.addEventListener("pointerdown", event => {
  const far = marker => Math.hypot(marker.x * innerWidth - event.clientX,
    marker.y * innerHeight - event.clientY);
  const free = markers.filter(marker => marker.pointer === null);
  const near = free.reduce((a, b) => (far(b) < far(a) ? b : a), free[0]);
  if (!near || far(near) > REACH * innerWidth) return;
  near.pointer = event.pointerId;
  near.holder.textContent = event.rushlight?.carried ?? event.pointerType;
  near.group.classList.add("held");
  held.set(event.pointerId, near);
  map.setPointerCapture(event.pointerId);
  count();
});
map.addEventListener("pointermove", event => {
  const marker = held.get(event.pointerId);
  if (marker) place(marker, event.clientX / innerWidth, event.clientY / innerHeight);
});
for (const type of ["pointerup", "pointercancel"]) {
  map.addEventListener(type, event => {
    const marker = held.get(event.pointerId);
    if (!marker) return;
    held.delete(event.pointerId);
    marker.pointer = null;
    marker.holder.textContent = "";
    marker.group.classList.remove("held");
    count();
  });
}
document.getElementById("fill").addEventListener("click", fillDisplay);
addEventListener("resize", layOut);
layOut();
count();
