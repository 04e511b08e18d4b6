// The picture of the view task: the theatre, drawn for the eye or for what stands in for it.
import {eyeOf} from "./eye.js";
import {picture} from "./lookout_scene.js";
import {asked} from "./texts.js";

const distance = (a, b) => Math.hypot(...a.map((value, i) => value - b[i]));

/** Loads the rig's theatre onto a canvas that fills the page. */
export async function viewOn(canvas, rig) {
  const theatre = await asked(`/theatre.json?rig=${encodeURIComponent(rig)}`);
  let wanted = false, shown = null;
  const paint = () => {
    wanted = false;
    shown.draw(view.eye.place);
  };
  const repaint = () => {
    if (shown && !wanted) requestAnimationFrame(paint);
    wanted = Boolean(shown);
  };
  const view = {
    eye: eyeOf(theatre.eye, rig, repaint),
    show() {
      shown ??= picture(canvas, theatre, theatre.screens[0]);
      const [columns, rows] = theatre.screens[0].display_px;
      const share = Math.min(innerWidth / columns, innerHeight / rows);
      shown.size(Math.round(columns * share), Math.round(rows * share), devicePixelRatio);
      canvas.hidden = false;
      repaint();
    },
    hide() { canvas.hidden = true; },
    pair(marks) {
      const rest = theatre.eye.rest_m;
      shown.cross(marks && {...marks, grown: distance(rest, marks.far) / distance(rest, marks.near)});
      repaint();
    },
    /** Without a camera the pointer's place on the page is the eye's place in its zone. */
    follow(x, y) {
      const {low, high, place} = view.eye;
      view.eye.put([low[0] + x / innerWidth * (high[0] - low[0]),
        high[1] - y / innerHeight * (high[1] - low[1]), place[2]]);
    },
  };
  return view;
}
