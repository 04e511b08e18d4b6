// Where the eye is: found by the camera, or stood in for by sliders, pointer and keys at the desk.

const STALE_MS = 1000; // after so long without news the eye counts as not seen; no source
const STEPS = {ArrowLeft: [-1, 0, 0], ArrowRight: [1, 0, 0], ArrowUp: [0, 1, 0],
  ArrowDown: [0, -1, 0], PageUp: [0, 0, -1], PageDown: [0, 0, 1]};
const STEP_M = 0.01;

/** An eye of a rig that starts at rest within a zone; `moved` is called whenever it has moved. */
export function eyeOf({low_m: low, high_m: high, rest_m: rest}, rig, moved) {
  const eye = {place: [...rest], source: "desk", simulated: false, still: false, low, high};
  let timer = 0, whose = rig; // of the act that goes on: another rig's camera finds no eye of this one

  function put(place) {
    eye.place = place.map((value, i) => Math.min(Math.max(value, low[i]), high[i]));
    moved();
  }
  /** News of the live process: the matrices' line holds the eye's place. */
  eye.hear = message => {
    if ("state" in message) whose = message.state.rig ?? rig;
    if ("simulated" in message) eye.simulated = Boolean(message.simulated);
    const seen = (message.views ?? []).find(view => view.eye_m?.every(Number.isFinite));
    if (!seen || whose !== rig) return;
    clearTimeout(timer);
    timer = setTimeout(() => { eye.source = "lost"; moved(); }, STALE_MS);
    eye.source = "camera";
    if (!eye.still) eye.place = seen.eye_m;
    moved();
  };
  /** Whether a camera moves the eye now; while the picture stands still, none does. */
  eye.led = () => eye.source === "camera" && !eye.still;
  const stoodIn = () => { if (eye.source !== "camera") eye.source = "desk"; };
  /** A step by key; false if the key is none of these, or a camera moves the eye. */
  eye.key = (key, large) => {
    const way = STEPS[key];
    if (!way || eye.led()) return false;
    stoodIn();
    put(eye.place.map((value, i) => value + way[i] * STEP_M * (large ? 5 : 1)));
    return true;
  };
  eye.put = place => {
    if (eye.led()) return;
    stoodIn();
    put(place);
  };
  eye.along = (axis, value) => eye.put(eye.place.map((each, i) => (i === axis ? value : each)));
  return eye;
}
