// The error map while it grows, with the beacons and by how much each is missed.
import {colour} from "/desk/room.js";

const NS = "http://www.w3.org/2000/svg";
const part = (tag, attributes = {}, words = "") => {
  const made = document.createElementNS(NS, tag);
  for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
  if (words) made.textContent = words;
  return made;
};

window.rushlightGrowing = (id, {size_m, map, touches, beacon, words}) => {
  const box = document.getElementById(id);
  if (!box) return;
  const wide = 800, high = wide * size_m[1] / size_m[0], edge = 14;
  const svg = part("svg", {viewBox: `${-edge} ${-edge} ${wide + 2 * edge} ${high + 2 * edge}`,
                           width: "100%", role: "img", "aria-label": words});
  const x = m => m / size_m[0] * wide, y = m => (1 - m / size_m[1]) * high;
  svg.append(part("rect", {x: 0, y: 0, width: wide, height: high, class: "growing-ground"}));
  if (map) {
    const all = map.rms_mm.flat(), low = Math.min(...all), span = Math.max(...all) - low || 1;
    // A cell reaches half way to its neighbours, and no farther than the surface.
    const bounds = (at, end) => at.map((each, i) => [
      i ? (at[i - 1] + each) / 2 : 0, i < at.length - 1 ? (each + at[i + 1]) / 2 : end]);
    const across = bounds(map.x_m, size_m[0]), up = bounds(map.y_m, size_m[1]);
    up.forEach(([b, t], row) => across.forEach(([l, r], column) => {
      const fill = colour((map.rms_mm[row][column] - low) / span);
      svg.append(part("rect", {x: x(l), y: y(t), width: x(r) - x(l) + 0.5,
                               height: y(b) - y(t) + 0.5, fill}));
    }));
  }
  // As large on a narrow page as on a wide one; two touches of one beacon stand side by side.
  const larger = Math.min(Math.max(800 / (box.clientWidth || 800), 1), 2.2), r = 13 * larger;
  const stand = [];
  for (const {number, x_m, y_m, used} of touches) {
    const at = [x(x_m), y(y_m)], way = at[0] < wide / 2 ? 2.1 * r : -2.1 * r;
    while (stand.some(each => Math.hypot(each[0] - at[0], each[1] - at[1]) < 1.9 * r)) at[0] += way;
    stand.push(at);
    svg.append(part("circle", {cx: at[0], cy: at[1], r, class: used ? "growing-touch" : "growing-touch bad"}),
      part("text", {x: at[0], y: at[1] + 5 * larger, class: "growing-number",
                    "font-size": 15 * larger}, String(number)));
  }
  if (!map && !touches.length) {
    svg.append(part("text", {x: wide / 2, y: high / 2, class: "growing-none",
                                "font-size": 22 * Math.min(larger, 1.6)}, words));
  }
  if (beacon) {
    svg.append(part("circle", {cx: x(beacon.x_m), cy: y(beacon.y_m), r: 17 * larger, class: "growing-beacon"}));
  }
  box.replaceChildren(svg);
};
