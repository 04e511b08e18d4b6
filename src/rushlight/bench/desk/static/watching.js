// What a desk page shows of a running act as it comes: picture, places on the surface, switchings.
// Words come with the call, so that they are of the page's catalogue.
import {see} from "/display/seeing.js";

const TRAIL = 60; // places of a trail that are drawn
const SWITCHINGS = 12; // that are listed
const PAUSE_MS = 1000;
const open = new Map(); // box -> what is open for it, and for which address

const filled = (words, values) =>
  words.replace(/\{(\w+)\}/g, (whole, name) => values[name] ?? whole);

// The form of a text for a number, by the plurals of the page's language (CLDR, through ECMA-402).
const plural = (forms, count) =>
  forms[new Intl.PluralRules(document.documentElement.lang || "en").select(count)] ?? forms.other;

/** Shows the pictures of an address in a canvas; called again it changes nothing. */
window.rushlightSee = (id, url, words) => {
  const canvas = document.getElementById(id);
  if (!canvas || open.get(id)?.url === url) return;
  open.get(id)?.shown.close();
  const box = canvas.parentElement, told = box.querySelector("[data-told]");
  const bright = box.querySelector("[data-bright]"), mark = box.querySelector("[data-mark]");
  let told_ms = -1000;
  told.textContent = words.none;
  const shown = see(canvas, `${url.replace(/^http/, "ws")}see`, head => {
    mark.hidden = !head.simulated;
    if (performance.now() - told_ms < 1000) return;
    told_ms = performance.now();
    const lit = head.dots.filter(dot => dot[3]).length;
    const dots = head.dots.length;
    told.textContent = filled(plural(words.dots, dots), {dots, lit, frame: head.frame});
  }, () => bright.checked);
  const rest = () => { if (canvas.dataset.frame) told.textContent = words.ended; };
  open.set(id, {url, shown, rest});
};

/** Hangs up, and shows as live no more what was seen last. */
window.rushlightRest = id => {
  open.get(id)?.shown.close();
  open.get(id)?.rest();
  open.delete(id);
};

/** Shows places on the surface with their trails in a canvas, and switchings in a list. */
window.rushlightPlaces = (id, url, words) => {
  const canvas = document.getElementById(id);
  if (!canvas || open.get(id)?.url === url) return;
  open.get(id)?.shown.close();
  const list = canvas.parentElement.querySelector("[data-switchings]");
  const told = canvas.parentElement.querySelector("[data-places]");
  const trails = new Map();
  told.textContent = words.none;
  let size_m = null, socket = null, over = false, due = false, now = [];

  const look = name => getComputedStyle(document.documentElement).getPropertyValue(name);
  function draw() {
    due = false;
    const wide = 960, high = Math.round(wide * size_m[1] / size_m[0]);
    if (canvas.height !== high) [canvas.width, canvas.height] = [wide, high];
    const pen = canvas.getContext("2d");
    pen.fillStyle = look("--veil");
    pen.fillRect(0, 0, wide, high);
    const at = ([x, y]) => [x / size_m[0] * wide, (1 - y / size_m[1]) * high];
    // Legible however small the canvas is shown.
    const letter = Math.max(22, 14 * wide / (canvas.clientWidth || wide));
    pen.font = `${letter}px system-ui, sans-serif`;
    [...trails].forEach(([name, trail], index) => {
      pen.strokeStyle = pen.fillStyle = look(index % 2 ? "--reed" : "--ember");
      pen.lineWidth = 3;
      pen.setLineDash(index % 2 ? [10, 6] : []); // not told apart by colour alone
      pen.beginPath();
      trail.forEach((place, k) => (k ? pen.lineTo(...at(place)) : pen.moveTo(...at(place))));
      pen.stroke();
      pen.setLineDash([]);
      const spot = now.find(each => each[0] === name);
      if (!spot) return;
      const [x, y] = at(spot.slice(1, 3));
      pen.beginPath();
      pen.arc(x, y, 12, 0, 7);
      if (spot[3]) pen.fill();
      else pen.stroke();
      const before = x + 18 + pen.measureText(name ?? words.unnamed).width > wide;
      pen.textAlign = before ? "right" : "left"; // "end" turns round with the language
      const place = [name ?? words.unnamed, x + (before ? -18 : 18), y + letter / 3];
      pen.lineWidth = 5; // a trail strikes no name through
      pen.strokeStyle = look("--veil");
      pen.strokeText(...place);
      pen.fillStyle = look("--ink");
      pen.fillText(...place);
    });
    const places = now.map(([name, x, y]) =>
      filled(words.place, {name: name ?? words.unnamed, x: x.toFixed(2), y: y.toFixed(2)}));
    told.textContent = places.length ? places.join("; ") : words.none;
  }

  function take({data}) {
    const message = JSON.parse(data);
    if (message.hello) size_m = message.hello.surface_m;
    if (!("spots" in message) || !size_m) return;
    if (message.spots) {
      // Of one name the last: a hand whose light was lost may be there under two trails.
      now = [...new Map(message.spots.map(spot => [spot[0] ?? spot, spot])).values()];
      canvas.dataset.lit = Math.max(now.length, Number(canvas.dataset.lit ?? 0));
      for (const [name, x, y] of now) {
        trails.set(name, [...(trails.get(name) ?? []), [x, y]].slice(-TRAIL));
      }
      for (const name of [...trails.keys()]) {
        if (!now.some(spot => spot[0] === name)) trails.delete(name);
      }
    }
    for (const [kind, carried, time_ms] of message.switches ?? []) {
      const item = document.createElement("li");
      const how = words.kinds[kind] ?? kind;
      item.textContent = filled(words.switching, {name: carried ?? words.unnamed, how, s: (time_ms / 1000).toFixed(2)});
      list.prepend(item);
      while (list.children.length > SWITCHINGS) list.lastChild.remove();
    }
    if (!due) due = true, requestAnimationFrame(draw);
  }

  function connect() {
    socket = new WebSocket(`${url.replace(/^http/, "ws")}events`);
    socket.onmessage = take;
    socket.onclose = () => over || setTimeout(connect, PAUSE_MS);
  }
  connect();
  const rest = () => {
    now = [];
    trails.clear();
    if (size_m) draw();
  };
  open.set(id, {url, rest, shown: {close() { over = true; socket.close(); }}});
};
