// The dashes beside a mark, which go out while something is held on it.

export const DASHES = 12; // as the registration counts them
const GAP = 3.4, LONG = 2.4; // from one dash to the next, and its long side, in its short sides

/**
 * Draw them to the left and right of (x, y), from `first` px away on; near an edge the row is longer
 * on the other side, so that every dash is on the display.
 */
export function drawDashes(shape, x, y, unit, first, left) {
  const gap = GAP * unit;
  const room = side => Math.max(0, Math.floor((side - first) / gap));
  let before = Math.min(DASHES / 2, room(x));
  before = Math.max(before, Math.min(room(x), DASHES - room(innerWidth - x)));
  const places = [];
  for (let k = 0; k < before; k++) places.push(-(first + k * gap));
  for (let k = 0; k < DASHES - before; k++) places.push(first + k * gap);
  places.sort((a, b) => Math.abs(a) - Math.abs(b)); // those farthest out go first
  places.forEach((way, index) => shape("rect", {
    class: index < left ? "dash" : "out", x: x + way - LONG * unit / 2, y: y - unit / 2,
    width: LONG * unit, height: unit, rx: unit / 4,
  }));
}
