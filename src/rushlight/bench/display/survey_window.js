// How this window stands to the display that is surveyed: what it measures, and which words say so.

/** What the window measures: its pixels as programs count them, and as the display has them. */
export function measured() {
  const css = [innerWidth, innerHeight], ratio = devicePixelRatio;
  return {
    css, ratio, device: css.map(side => Math.round(side * ratio)),
    screen: [screen.width, screen.height], first: [screenX, screenY],
    pinched: (visualViewport?.scale ?? 1) !== 1, several: screen.isExtended === true,
  };
}

const near = (one, other, most) => one.every((side, axis) => Math.abs(side - other[axis]) <= most);

/** The key of what is to be said of the window; only `good` and `scaled` may be measured by. */
export function judged(window, told) {
  if (window.pinched) return "pinched";
  if (window.css.some((side, axis) => side < window.screen[axis] - 1)) return "window";
  // Programs count whole pixels, so that a scaled window is told to one of its own.
  if (!near(window.device, told.display_px, Math.max(1, window.ratio))) return "other";
  return Math.abs(window.ratio - 1) < 1e-6 ? "good" : "scaled";
}

/** Keys of what else is to be known. */
export function notes(window, told) {
  const found = [];
  if (window.several) found.push("several");
  // Less than half a window off is a frame or a bar of the desktop, not another monitor; our own choice.
  const off = (side, axis) => Math.abs(side - told.first_px[axis]) >= window.css[axis] / 2;
  if (window.first.some(off)) found.push("begins");
  const asTheRig = near(told.size_px, told.display_px, 0);
  if (!asTheRig && !near(told.size_px, window.css, 1) && !near(told.size_px, window.device, 1)) {
    found.push("counted");
  }
  return found;
}
