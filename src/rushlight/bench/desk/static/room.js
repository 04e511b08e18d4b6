// The room of a rig, drawn on demand as SVG: turned freely, or flat and to scale.
// Frame: metres, x to the right, y up, z out of the surface toward the user.

const NS = "http://www.w3.org/2000/svg";
// Anchors of matplotlib 3.11's colour map "cividis".
const CIVIDIS = ["#00224e", "#123570", "#3b496c", "#575d6d", "#707173", "#8a8678", "#a59c74",
                 "#c3b369", "#e1cc55", "#fee838"];
const KEYS = {ArrowLeft: "left", ArrowRight: "right", ArrowUp: "up", ArrowDown: "down",
              "+": "nearer", "=": "nearer", "-": "farther"};
const STEPS = {left: [-0.1, 0], right: [0.1, 0], up: [0, 0.08], down: [0, -0.08]}; // [rad]
const PRESSED = 3; // steps of a key that a button makes at once; our own choice
const views = new Map();

const part = (tag, attributes = {}, words = "") => {
  const made = document.createElementNS(NS, tag);
  for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
  if (words) made.textContent = words;
  return made;
};

export function colour(share) {
  const at = Math.min(Math.max(share, 0), 1) * (CIVIDIS.length - 1);
  const low = Math.min(Math.floor(at), CIVIDIS.length - 2);
  const mix = (i) => Math.round(
    parseInt(CIVIDIS[low].slice(i, i + 2), 16) * (1 - at + low)
    + parseInt(CIVIDIS[low + 1].slice(i, i + 2), 16) * (at - low));
  return `rgb(${mix(1)},${mix(3)},${mix(5)})`;
}

const boxCorners = (low, high) => [0, 1, 2, 3, 4, 5, 6, 7].map(
  (i) => [i & 1 ? high[0] : low[0], i & 2 ? high[1] : low[1], i & 4 ? high[2] : low[2]]);
const BOX_EDGES = [[0, 1], [2, 3], [4, 5], [6, 7], [0, 2], [1, 3], [4, 6], [5, 7],
                   [0, 4], [1, 5], [2, 6], [3, 7]];

class Room {
  constructor(box) {
    this.box = box;
    this.mode = "room";
    this.turn = -0.62;
    this.tilt = 0.32;
    this.near = 1;
    this.data = null;
    this.svg = part("svg", {class: "room-svg", role: "img", tabindex: "0", width: "100%"});
    this.told = document.createElement("p"); // in the drawing's place, where there is none
    this.told.className = "room-waiting";
    this.told.setAttribute("role", "status");
    box.replaceChildren(this.svg, this.told);
    new ResizeObserver(() => this.draw()).observe(box);
    this.listen();
  }

  listen() {
    let held = null;
    this.svg.addEventListener("pointerdown", (e) => {
      if (this.mode !== "room") return;
      held = [e.clientX, e.clientY];
      this.svg.setPointerCapture(e.pointerId);
    });
    this.svg.addEventListener("pointermove", (e) => {
      if (!held) return;
      this.turnBy((e.clientX - held[0]) * 0.008, (e.clientY - held[1]) * 0.006);
      held = [e.clientX, e.clientY];
      this.draw();
    });
    for (const end of ["pointerup", "pointercancel"])
      this.svg.addEventListener(end, () => { held = null; });
    this.svg.addEventListener("keydown", (e) => {
      if (!this.move(KEYS[e.key])) return;
      e.preventDefault();
      this.draw();
    });
  }

  // One step of a way; false where there is none, as no turning in a flat view.
  move(way) {
    const step = STEPS[way];
    if (step && this.mode === "room") this.turnBy(...step);
    else if (way === "nearer") this.near = Math.min(this.near * 1.12, 4);
    else if (way === "farther") this.near = Math.max(this.near / 1.12, 0.4);
    else return false;
    return true;
  }

  turnBy(turn, tilt) {
    this.turn += turn;
    this.tilt = Math.min(Math.max(this.tilt + tilt, -0.2), 1.5);
  }

  // Every place that must be seen, for the extent of the drawing.
  places() {
    const room = this.data.room, out = [];
    for (const each of room.surfaces) out.push(...each.corners_m);
    for (const each of room.cameras) out.push(each.at_m);
    for (const each of room.zones) out.push(...boxCorners(each.low_m, each.high_m));
    for (const each of room.people)
      for (const [x, z] of each.standing_m)
        out.push([x, room.floor_m, z], [x, room.floor_m + each.stature_m, z]);
    if (room.room && (this.mode === "above" || this.mode === "side")) out.push(...boxCorners(...room.room));
    if (!out.length) out.push([0, 0, 0], [1, 1, 1]);
    return out;
  }

  projector(width, height) {
    const places = this.places();
    const least = (of, i) => Math.min(...of.map((p) => p[i]));
    const most = (of, i) => Math.max(...of.map((p) => p[i]));
    const axes = [0, 1, 2], centre = axes.map((i) => (least(places, i) + most(places, i)) / 2);
    const reach = Math.hypot(...axes.map((i) => most(places, i) - least(places, i))) / 2 || 1;
    // What cameras see is drawn whole, unless it reaches far beyond what it is about.
    const ends = this.data.room.cameras.flatMap((each) => each.corners_m);
    places.push(...ends.filter((p) => Math.hypot(...p.map((v, i) => v - centre[i])) < 1.6 * reach));
    const low = axes.map((i) => least(places, i)), high = axes.map((i) => most(places, i));
    const middle = this.mode === "room" ? centre : low.map((value, i) => (value + high[i]) / 2);
    if (this.mode !== "room") {
      const [across, up] = {above: [0, 2], side: [2, 1], front: [0, 1]}[this.mode];
      const margin = 34;
      const scale = Math.min((width - 2 * margin) / (high[across] - low[across] || 1),
                             (height - 2 * margin) / (high[up] - low[up] || 1)) * this.near;
      // From above, the surface is at the top and the user below, as on a plan of the room.
      const sign = this.mode === "above" ? 1 : -1;
      return {scale, flat: true, at: (p) => [
        width / 2 + (p[across] - middle[across]) * scale,
        height / 2 + sign * (p[up] - middle[up]) * scale, 0]};
    }
    const away = 2.9 * reach;
    const [ct, st, cn, sn] = [Math.cos(this.turn), Math.sin(this.turn),
                              Math.cos(this.tilt), Math.sin(this.tilt)];
    const through = (p) => {
      const [x, y, z] = p.map((value, i) => value - middle[i]);
      const x1 = ct * x + st * z, z1 = -st * x + ct * z;
      const y2 = cn * y - sn * z1, z2 = sn * y + cn * z1;
      const depth = Math.max(away - z2, 0.05 * reach);
      return [x1 * away / depth, -y2 * away / depth, depth];
    };
    // As large as the picture takes it, whichever way it is turned.
    const seen = places.map(through);
    const [left, right] = [Math.min(...seen.map((p) => p[0])), Math.max(...seen.map((p) => p[0]))];
    const [top, foot] = [Math.min(...seen.map((p) => p[1])), Math.max(...seen.map((p) => p[1]))];
    const scale = Math.min((width - 60) / (right - left || 1), (height - 60) / (foot - top || 1))
      * this.near;
    return {flat: false, at: (p) => {
      const [x, y, depth] = through(p);
      return [width / 2 + scale * (x - (left + right) / 2),
              height / 2 + scale * (y - (top + foot) / 2), depth];
    }};
  }

  draw() {
    if (!this.data) return;
    const drawn = Boolean(this.data.room);
    this.svg.style.display = drawn ? "" : "none";
    this.told.hidden = drawn;
    this.told.textContent = drawn ? "" : this.data.words;
    if (!drawn) return;
    const width = Math.max(this.box.clientWidth, 200);
    const height = Math.max(this.box.clientHeight, 200);
    this.svg.setAttribute("viewBox", `0 0 ${width} ${height}`);
    this.svg.setAttribute("height", height);
    this.svg.setAttribute("aria-label", this.data.words || "");
    const eye = this.projector(width, height), things = [];
    this.named = [];
    const add = (points, attributes, over = 0) => {
      const seen = points.map(eye.at);
      const depth = seen.reduce((sum, p) => sum + p[2], 0) / seen.length;
      things.push([depth - over, part("polygon", {
        points: seen.map((p) => `${p[0].toFixed(1)},${p[1].toFixed(1)}`).join(" "), ...attributes})]);
    };
    const line = (a, b, kind, over = 0) => {
      const [p, q] = [eye.at(a), eye.at(b)];
      things.push([(p[2] + q[2]) / 2 - over, part("line", {
        x1: p[0].toFixed(1), y1: p[1].toFixed(1), x2: q[0].toFixed(1), y2: q[1].toFixed(1),
        class: kind})]);
    };
    this.drawRoom(add, line);
    this.drawMaps(add, eye, things);
    this.drawPeople(add, line, eye, things);
    this.drawCameras(add, line, eye, things);
    things.sort((a, b) => b[0] - a[0]);
    this.svg.replaceChildren(...things.map((each) => each[1]));
    if (eye.flat) this.drawScale(eye.scale, width, height);
  }

  drawRoom(add, line) {
    const {room, floor_m: floor} = this.data.room;
    if (!room || this.mode === "front") return;
    const corners = boxCorners(...room);
    const far = 1000;
    add([corners[0], corners[1], corners[5], corners[4]].map((p) => [p[0], floor, p[2]]),
        {class: "room-floor"}, -far);
    for (const [a, b] of BOX_EDGES) line(corners[a], corners[b], "room-edge", -far + 1);
  }

  drawMaps(add, eye, things) {
    const {maps, low_mm: low, high_mm: high} = this.data;
    const share = (value) => (high > low ? (value - low) / (high - low) : 0.5);
    for (const map of maps) {
      const [nx, ny, nz] = map.shape, size = map.high_m.map((value, i) => value - map.low_m[i]);
      map.error_mm.forEach((value, index) => {
        const cell = [index % nx, Math.floor(index / nx) % ny, Math.floor(index / nx / ny)];
        const lost = map.lost[index].length > 0;
        if (map.of === "surface") {
          const [x, y] = cell, step = [size[0] / nx, size[1] / ny];
          const corner = (i, j) => [map.low_m[0] + (x + i) * step[0],
                                    map.low_m[1] + (y + j) * step[1], 0];
          const fill = value === null ? "var(--veil)" : colour(share(value));
          add([corner(0, 0), corner(1, 0), corner(1, 1), corner(0, 1)],
              {style: `fill:${fill};stroke:${fill}`, class: "room-cell"});
          if (lost && (!eye.flat || this.mode === "front")) { // edge on, a cross is a blot
            const [a, b] = [eye.at(corner(0.32, 0.32)), eye.at(corner(0.68, 0.68))];
            const [c, d] = [eye.at(corner(0.32, 0.68)), eye.at(corner(0.68, 0.32))];
            things.push([a[2] - 0.03, part("path", {class: "room-lost",
              d: `M${a[0]} ${a[1]}L${b[0]} ${b[1]}M${c[0]} ${c[1]}L${d[0]} ${d[1]}`})]);
          }
        } else {
          const at = cell.map((n, i) => map.low_m[i] + (n + 0.5) * size[i] / map.shape[i]);
          const p = eye.at(at);
          things.push([p[2], part("circle", {cx: p[0], cy: p[1], r: lost ? 5 : 7,
            class: lost ? "room-ball lost" : "room-ball",
            style: value === null ? "fill:var(--veil)" : `fill:${colour(share(value))}`})]);
        }
      });
    }
    for (const each of this.data.room.surfaces)
      if (!maps.some((map) => map.of === "surface"))
        add(each.corners_m, {class: "room-surface"});
      else add(each.corners_m, {class: "room-frame"}, 0.02);
    for (const zone of this.data.room.zones) {
      const corners = boxCorners(zone.low_m, zone.high_m);
      for (const [a, b] of BOX_EDGES) {
        const [p, q] = [eye.at(corners[a]), eye.at(corners[b])];
        things.push([(p[2] + q[2]) / 2, part("line", {x1: p[0], y1: p[1], x2: q[0], y2: q[1],
                                                     class: "room-zone"})]);
      }
      this.label(things, eye, corners[2], zone.id);
    }
  }

  drawPeople(add, line, eye, things) {
    if (this.mode === "front") return;
    const floor = this.data.room.floor_m;
    this.data.room.people.forEach((each, index) => {
      const stand = each.standing_m.map(([x, z]) => [x, floor, z]);
      add(stand, {class: "room-stand"}, -50);
      const at = [0, 1].map((i) => each.standing_m.reduce((sum, p) => sum + p[i], 0)
                                   / each.standing_m.length);
      const head = 0.13 * each.stature_m;
      const body = (y, half) => [[at[0] - half, y, at[1]], [at[0] + half, y, at[1]]];
      const [a, b] = body(floor, 0.1 * each.stature_m);
      const [c, d] = body(floor + each.stature_m - 1.3 * head, 0.13 * each.stature_m);
      if (this.mode === "room") add([a, b, d, c], {class: "room-person"});
      else if (this.mode === "side")
        line([at[0], floor, at[1]], [at[0], floor + each.stature_m - head, at[1]], "room-body");
      const p = eye.at([at[0], floor + each.stature_m - head / 2, at[1]]);
      const q = eye.at([at[0], floor + each.stature_m, at[1]]);
      const radius = this.mode === "above" ? 9 : Math.max(Math.hypot(p[0] - q[0], p[1] - q[1]), 4);
      things.push([p[2], part("circle", {cx: p[0], cy: p[1], r: radius, class: "room-person"})]);
      // Names of people who stand close together go above one another.
      this.label(things, eye, [at[0], floor + each.stature_m + 0.06, at[1]], each.id,
                 this.mode === "above" ? 16 + 17 * index : -6 - 17 * index);
    });
  }

  drawCameras(add, line, eye, things) {
    for (const each of this.data.room.cameras) {
      const corners = each.corners_m;
      corners.forEach((end, i) => {
        line(each.at_m, end, "room-ray", 0.05);
        line(end, corners[(i + 1) % 4], "room-view", 0.05);
      });
      if (this.mode !== "front") add([each.at_m, corners[0], corners[1]], {class: "room-wedge"});
      const p = eye.at(each.at_m);
      things.push([p[2] - 1, part("rect", {x: p[0] - 7, y: p[1] - 7, width: 14, height: 14, rx: 3,
                                           class: "room-camera"})]);
      this.label(things, eye, each.at_m, each.id, 14);
    }
  }

  label(things, eye, at, words, down = -6) {
    const p = eye.at(at), half = 4 * words.length, line = 17;
    let y = p[1] + (down > 0 ? down + 10 : down);
    // A name that would lie on another one moves on, away from what it names.
    const lies = ([x, its, wide]) => Math.abs(x - p[0]) < half + wide && Math.abs(its - y) < line;
    while (this.named.some(lies)) y += down > 0 ? line : -line;
    // Nor over the upper edge, as long as what it names is in view.
    if (y < 14 && p[1] > 0) for (y = 14; this.named.some(lies);) y += line;
    this.named.push([p[0], y, half]);
    things.push([-1e6, part("text", {x: p[0], y, class: "room-label", "text-anchor": "middle"}, words)]);
  }

  drawScale(scale, width, height) {
    const length = [0.1, 0.2, 0.5, 1, 2, 5].find((each) => each * scale > 60) || 10;
    const [x, y] = [20, height - 16];
    this.svg.append(
      part("path", {d: `M${x} ${y - 5}v5h${length * scale}v-5`, class: "room-scale"}),
      part("text", {x: x + length * scale + 8, y: y + 1, class: "room-label"}, `${length} m`));
  }
}

function of(id) {
  const box = document.getElementById(id);
  if (!box) return null;
  const known = views.get(id);
  if (known && known.box === box) return known;
  const made = new Room(box);
  views.set(id, made);
  return made;
}

// Draws a glance; `stamp` is when the user moved what led to it, and the delay is kept.
window.rushlightRoom = (id, data, stamp = 0) => {
  const room = of(id);
  if (!room) return;
  room.data = data;
  room.draw();
  if (stamp) (window.rushlightDelays ||= []).push(performance.now() - stamp);
};
// A button's way, for those who do not drag (W3C, Web Content Accessibility Guidelines 2.2, success
// criterion 2.5.7, dragging movements; from memory).
window.rushlightMove = (id, way) => {
  const room = of(id);
  if (!room) return;
  for (let i = 0; i < PRESSED; i++) room.move(way);
  room.draw();
};
window.rushlightView = (id, mode) => {
  const room = of(id);
  if (!room) return;
  Object.assign(room, {mode, near: 1});
  room.draw();
};
