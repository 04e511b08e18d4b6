// The sheet on which marks stand: places of the plan [m], drawn in page pixels, told in true metres.

const SVG = "http://www.w3.org/2000/svg";
export const DASHES = 12;

/** How a plan's display lies on this page, and what a page pixel is on this display. */
export function layout(surface, displayWidth) {
  const [width, height] = surface;
  const scale = Math.min(innerWidth / width, innerHeight / height); // px a plan metre
  const left = (innerWidth - scale * width) / 2, base = (innerHeight + scale * height) / 2;
  const own = displayWidth / screen.width; // true metres a page pixel
  return {
    px: ([x, y]) => [left + x * scale, base - y * scale],
    length: value => value * scale,
    metres: ([x, y]) => [x * own, (innerHeight - y) * own],
    metresOf: value => value * scale * own,
    display_px: [screen.width, screen.height],
    display_m: [displayWidth, displayWidth * screen.height / screen.width],
    filled: innerWidth >= screen.width - 1 && innerHeight >= screen.height - 1,
    width: innerWidth, height: innerHeight, ratio: devicePixelRatio,
  };
}

const made = (name, values) => {
  const element = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(values)) element.setAttribute(key, value);
  return element;
};

const circle = (cx, cy, r, kind) => made("circle", {cx, cy, r, class: kind});

/** All places of a ring, with the one to be tapped now filled. */
export function drawRing(sheet, places, radius, now) {
  sheet.replaceChildren();
  for (const [x, y] of places) sheet.append(circle(x, y, radius, "other"));
  const [x, y] = places[now];
  sheet.append(circle(x, y, radius, "goal"), circle(x, y, Math.max(radius / 6, 1.5), "core"));
}

/** A mark to be held: a disc within a row of dashes that go out one by one. */
export function drawHold(sheet, [x, y], left) {
  const unit = Math.max(Math.min(innerWidth, innerHeight) / 100, 5);
  sheet.replaceChildren(circle(x, y, unit * 1.6, "goal"), circle(x, y, unit / 3, "core"));
  for (let i = 0; i < left; i++) {
    const turn = 2 * Math.PI * i / DASHES, [s, c] = [Math.sin(turn), -Math.cos(turn)];
    sheet.append(made("line", {class: "dash", x1: x + 3 * unit * s, y1: y + 3 * unit * c,
      x2: x + 4.4 * unit * s, y2: y + 4.4 * unit * c}));
  }
}

/** The keyboard's pen, on top of all. */
export function drawPen(sheet, pen) {
  sheet.querySelector(".pen")?.remove();
  if (!pen) return;
  const {x, y} = pen;
  sheet.append(made("path", {class: "pen",
    d: `M${x - 14} ${y}H${x - 4}M${x + 4} ${y}H${x + 14}M${x} ${y - 14}V${y - 4}M${x} ${y + 4}V${y + 14}`}));
}
