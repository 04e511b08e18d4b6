// A screen as a window: the projection by which a scene is drawn for one eye.
// Source: Kooima, "Generalized Perspective Projection", 2008, revised 2013; matrix entries as the
// OpenGL 2.1 reference states them for glFrustum. Lengths in metres, matrices row by row, for
// column vectors. The same numbers as rushlight.physics.geometry.offaxis gives.

const minus = (a, b) => a.map((value, i) => value - b[i]);
const dot = (a, b) => a.reduce((sum, value, i) => sum + value * b[i], 0);
const cross = ([a, b, c], [x, y, z]) => [b * z - c * y, c * x - a * z, a * y - b * x];

/** A screen's corner, axes (right, up, out toward the user) and size; null if it is no rectangle. */
export function screenFrame([low, right, up]) {
  const sides = [minus(right, low), minus(up, low)];
  const size = sides.map(side => Math.hypot(...side));
  if (!size.every(side => side > 0)) return null;
  const [x, y] = sides.map((side, i) => side.map(value => value / size[i]));
  if (Math.abs(dot(x, y)) > 1e-6) return null;
  return {corner: low, axes: [x, y, cross(x, y)], size};
}

/** A point told from the screen's corner along its axes. */
export function inScreen(point, frame) {
  const way = minus(point, frame.corner);
  return frame.axes.map(axis => dot(axis, way));
}

/** A point of the screen's own axes, in the rig. */
export function inRig([x, y, z], {corner, axes}) {
  return corner.map((value, i) => value + x * axes[0][i] + y * axes[1][i] + z * axes[2][i]);
}

/** clip_from_eye and eye_from_rig; null for an eye in or behind the screen's plane. */
export function offAxis(corners, eye, near, far) {
  const frame = screenFrame(corners);
  const [ex, ey, distance] = frame ? inScreen(eye, frame) : [0, 0, 0];
  if (!(distance > 0)) return null;
  const k = near / distance, [width, height] = frame.size;
  const [left, right, bottom, top] = [-ex * k, (width - ex) * k, -ey * k, (height - ey) * k];
  const projection = [
    2 * near / (right - left), 0, (right + left) / (right - left), 0,
    0, 2 * near / (top - bottom), (top + bottom) / (top - bottom), 0,
    0, 0, -(far + near) / (far - near), -2 * far * near / (far - near),
    0, 0, -1, 0,
  ];
  const view = frame.axes.flatMap(axis => [...axis, -dot(axis, eye)]).concat([0, 0, 0, 1]);
  return {projection, view, distance};
}

/** A 4 × 4 matrix times a point, divided by its fourth part where asked. */
export function applied(matrix, [x, y, z, w = 1], divide = false) {
  const found = [0, 4, 8, 12].map(
    row => matrix[row] * x + matrix[row + 1] * y + matrix[row + 2] * z + matrix[row + 3] * w);
  return divide ? found.slice(0, 3).map(value => value / found[3]) : found;
}

/** Where on the screen a point is drawn for an eye, right and up from the corner; null if unseen. */
export function drawnAt(point, corners, eye) {
  const frame = screenFrame(corners);
  const e = inScreen(eye, frame), p = inScreen(point, frame);
  const fall = e[2] - p[2];
  if (!(fall > 0 && e[2] > 0)) return null;
  return [0, 1].map(i => e[i] + (p[i] - e[i]) * e[2] / fall);
}
