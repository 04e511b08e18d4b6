// The lookout: a scene that stays where it is while the eye moves.
import {eyeOf} from "./eye.js";
import {muted} from "./letters.js";
import {open} from "./link.js";
import {picture} from "./lookout_scene.js";
import {asked, fill, text} from "./texts.js";

const query = new URLSearchParams(location.search);
const rig = query.get("rig") ?? "";
const $ = id => document.getElementById(id);
const SLIDERS = ["aside", "height", "away"];
let theatre, screen, eye, shown, link, wanted = false, begun = false, drag = null;

function paint() {
  wanted = false;
  if (begun) $("picture").dataset.drawn = String(shown.draw(eye.place));
  SLIDERS.forEach((id, axis) => { $(id).value = eye.place[axis]; });
  $("picture").dataset.eye = eye.place.join(" ");
  say();
}

function repaint() {
  if (!wanted) requestAnimationFrame(paint);
  wanted = true;
}

// In words, and only when they change, so that a reader aloud is not flooded.
function say() {
  const camera = eye.source === "camera";
  const words = [text(`lookout.source_${eye.source}`)];
  if (eye.simulated) words.push(text("lookout.simulated"));
  if (eye.still) words.push(text("lookout.stands_still"));
  if ($("source").textContent !== words.join(" ")) $("source").textContent = words.join(" ");
  $("source").classList.toggle("seen", camera);
  $("desk").hidden = eye.led();
}

/** As large as the display's own shape allows: then the picture is the display, pixel by pixel. */
function resize() {
  const [columns, rows] = screen.display_px;
  const share = Math.min(innerWidth / columns, innerHeight / rows);
  shown.size(Math.round(columns * share), Math.round(rows * share), devicePixelRatio);
  repaint();
}

/** Tells the live process that this page is open, and whether it was begun. */
function announce() {
  setTimeout(() => link.say({page: "lookout", ready: begun}));
}

async function begin(filled) {
  if (filled) await document.documentElement.requestFullscreen?.().catch(() => {});
  begun = true;
  announce();
  $("before").hidden = true;
  $("notes").hidden = false;
  $("picture").focus();
  resize();
}

function still(on = !eye.still) {
  eye.still = on;
  $("still").setAttribute("aria-pressed", String(on));
  repaint();
}

function hide() {
  $("notes").hidden = !$("notes").hidden;
  if ($("notes").hidden) $("picture").focus();
}

function filled() {
  document.fullscreenElement ? document.exitFullscreen() : document.documentElement.requestFullscreen();
}

async function load(file) {
  $("word").textContent = text("lookout.loading");
  try {
    await shown.model(await file.arrayBuffer());
    $("back").hidden = false;
    $("word").textContent = text("lookout.loaded", {name: file.name});
  } catch {
    $("word").textContent = text("lookout.no_model", {name: file.name});
  }
  repaint();
}

function listen() {
  $("start").addEventListener("click", () => begin(false));
  $("start-filled").addEventListener("click", () => begin(true));
  for (const [id, act] of [["still", () => still()], ["fill", filled], ["hide", hide]]) {
    $(id).addEventListener("click", act);
  }
  $("back").addEventListener("click", () => {
    shown.theatre();
    $("back").hidden = true;
    $("word").textContent = "";
    repaint();
  });
  $("model").addEventListener("change", ({target}) => target.files[0] && load(target.files[0]));
  addEventListener("dragover", event => event.preventDefault());
  addEventListener("drop", event => {
    event.preventDefault();
    const file = event.dataTransfer?.files[0];
    if (file && begun) load(file);
  });
  SLIDERS.forEach((id, axis) => {
    [$(id).min, $(id).max] = [eye.low[axis], eye.high[axis]];
    $(id).addEventListener("input", ({target}) => eye.along(axis, Number(target.value)));
  });
  const stage = $("stage");
  stage.addEventListener("pointerdown", event => {
    if (!begun || eye.still) return;
    drag = {x: event.clientX, y: event.clientY, place: [...eye.place]};
    stage.setPointerCapture(event.pointerId);
  });
  stage.addEventListener("pointermove", event => {
    if (!drag) return;
    const span = eye.high.map((value, i) => value - eye.low[i]);
    eye.put([drag.place[0] + (event.clientX - drag.x) / innerWidth * span[0],
      drag.place[1] - (event.clientY - drag.y) / innerHeight * span[1], drag.place[2]]);
  });
  for (const type of ["pointerup", "pointercancel"]) {
    stage.addEventListener(type, () => { drag = null; });
  }
  addEventListener("keydown", event => {
    if (!begun || muted(event) || event.ctrlKey || event.altKey || event.metaKey) return;
    const act = {f: filled, s: () => still(), h: hide}[event.key.toLowerCase()];
    if (act) act();
    else if (event.target.type === "range" || !eye.key(event.key, event.shiftKey)) return;
    event.preventDefault();
  });
  addEventListener("resize", resize);
}

async function main() {
  fill();
  document.title = text("lookout.title");
  try {
    theatre = await asked(`/theatre.json?rig=${encodeURIComponent(rig)}`);
    screen = theatre.screens.find(each => each.id === query.get("screen")) ?? theatre.screens[0];
    eye = eyeOf(theatre.eye, rig, repaint);
    shown = picture($("picture"), theatre, screen);
  } catch (error) {
    $("fault").textContent = error.message;
    return;
  }
  for (const words of theatre.cautions) {
    $("cautions").append(Object.assign(document.createElement("p"), {textContent: words}));
  }
  $("picture").setAttribute("aria-label", text("lookout.picture"));
  $("invented").hidden = theatre.basis !== "invented";
  const place = (query.get("eye") ?? "").split(",").map(Number); // a fixed eye, to check the picture
  if (place.length === 3 && place.every(Number.isFinite)) eye.put(place);
  still(matchMedia("(prefers-reduced-motion: reduce)").matches);
  listen();
  link = open(eye.hear, word => {
    repaint();
    if (word === "connected") announce();
  });
  // Not before: cautions are to be read, and a button that nobody listens to begins nothing.
  $("start").disabled = $("start-filled").disabled = false;
  document.body.dataset.ready = "true";
}

main();
