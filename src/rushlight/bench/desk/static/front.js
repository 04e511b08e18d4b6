// Candidates of a search that none beats in everything: error against cost, larger for more cover.

const REACH = 22; // of a touch about a dot [px]: targets are 44 px wide
const NS = "http://www.w3.org/2000/svg";
const part = (tag, attributes = {}, words = "") => {
  const made = document.createElementNS(NS, tag);
  for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
  if (words) made.textContent = words;
  return made;
};

// Round numbers across a range.
function marks(low, high, count) {
  const rough = (high - low || 1) / count, power = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 5, 10].map((each) => each * power).find((each) => each >= rough);
  const out = [];
  for (let at = Math.ceil(low / step) * step; at <= high + 1e-9; at += step) out.push(at);
  return out;
}

const drawn = new Map(); // box -> its newest data, so that another width draws it anew
const widths = new ResizeObserver((all) => all.forEach(({target}) => {
  const shown = target.querySelector("svg");
  if (shown && shown.viewBox.baseVal.width !== Math.max(target.clientWidth, 260)) {
    window.rushlightFront(target.id, drawn.get(target));
  }
}));

window.rushlightFront = (id, data) => {
  const box = document.getElementById(id);
  if (!box) return;
  drawn.set(box, data);
  widths.observe(box);
  const kept = document.activeElement && document.activeElement.dataset.number;
  const width = Math.max(box.clientWidth, 260), height = Math.max(box.clientHeight, 240);
  const [left, right, top, foot] = [64, 20, 16, 52];
  const svg = part("svg", {viewBox: `0 0 ${width} ${height}`, width: "100%", height,
                           role: "group", "aria-label": data.words});
  const points = data.points;
  const range = (values, always) => {
    const low = Math.min(...values), high = Math.max(...values);
    const room = (high - low || always) * 0.08;
    return [Math.max(low - room, 0), high + room];
  };
  if (points.length) {
    const [c0, c1] = range(points.map((p) => p.cost), 1);
    const [e0, e1] = range(points.map((p) => p.error_mm), 0.5);
    const x = (cost) => left + (cost - c0) / (c1 - c0) * (width - left - right);
    const y = (error) => height - foot - (error - e0) / (e1 - e0) * (height - top - foot);
    for (const cost of marks(c0, c1, 6)) {
      svg.append(part("line", {x1: x(cost), x2: x(cost), y1: top, y2: height - foot, class: "front-grid"}),
                 part("text", {x: x(cost), y: height - foot + 20, class: "front-label", "text-anchor": "middle"},
                      String(+cost.toPrecision(6))));
    }
    for (const error of marks(e0, e1, 5)) {
      svg.append(part("line", {x1: left, x2: width - right, y1: y(error), y2: y(error), class: "front-grid"}),
                 part("text", {x: left - 10, y: y(error) + 4, class: "front-label", "text-anchor": "end"},
                      String(+error.toPrecision(3))));
    }
    svg.append(
      part("text", {x: (left + width - right) / 2, y: height - 8, class: "front-label",
                    "text-anchor": "middle"}, data.across),
      part("text", {transform: `translate(16 ${(top + height - foot) / 2}) rotate(-90)`,
                    class: "front-label", "text-anchor": "middle"}, data.up));
    // A finger is larger than a dot: of those within its reach, the nearest is meant.
    const reached = points.filter((p) => p.number);
    for (const p of reached)
      svg.append(part("circle", {cx: x(p.cost), cy: y(p.error_mm), r: REACH, class: "front-hit"}));
    const pick = (number) => emitEvent("rushlight-picked", {box: id, number});
    svg.addEventListener("click", (e) => {
      const own = Number(e.target.dataset.number);
      if (!e.detail && own) return pick(own); // not by a pointer, as readers aloud do
      const frame = svg.getBoundingClientRect();
      const far = (p) => Math.hypot(frame.left + x(p.cost) - e.clientX,
                                    frame.top + y(p.error_mm) - e.clientY);
      const nearest = reached.reduce((a, b) => (far(b) < far(a) ? b : a), reached[0]);
      if (nearest && far(nearest) <= REACH) pick(nearest.number);
    });
    const over = [];  // what lies above all other dots, which stay in the order of tabs
    for (const p of points) {
      const mine = p.number && p.number === data.picked;
      const dot = part("circle", {cx: x(p.cost), cy: y(p.error_mm), r: 4 + 8 * p.coverage ** 2,
        class: `front-dot${mine ? " picked" : ""}${p.number && p.number === data.chosen ? " chosen" : ""}`});
      if (p.number) {
        for (const [name, value] of Object.entries({tabindex: "0", role: "button",
          "aria-pressed": mine ? "true" : "false", "aria-label": p.words, "data-number": p.number}))
          dot.setAttribute(name, value);
        dot.addEventListener("keydown", (e) => {
          if (e.key === "Enter" || e.key === " ") { e.preventDefault(); pick(p.number); }
        });
      }
      svg.append(dot);
      if (mine || dot.classList.contains("chosen"))
        over.push(part("circle", {cx: x(p.cost), cy: y(p.error_mm), r: dot.getAttribute("r"),
                                  class: dot.getAttribute("class").replace("front-dot", "front-over")}));
      if (mine) over.push(part("text", {x: x(p.cost), y: y(p.error_mm) - 16, class: "front-label strong",
                                        "text-anchor": "middle"}, `${p.number}`));
    }
    svg.append(...over);
  }
  box.replaceChildren(svg);
  if (kept) box.querySelector(`[data-number="${kept}"]`)?.focus();
};
