// What the camera sees, full screen.
import {begin, fillDisplay} from "./marks.js";
import {see} from "./seeing.js";
import {counted, text} from "./texts.js";

const canvas = document.getElementById("shown"), bright = document.getElementById("bright");
const told = document.getElementById("told");
let told_ms = -1000, goes_on = true;

begin("picture", ({state}) => {
  if (!state) return;
  goes_on = ["starting", "running", "stopping"].includes(state.stage);
  // What was seen last stays, and would look as if it were seen now.
  if (!goes_on && canvas.dataset.frame) say(text("picture.ended"));
}).begun();

/** Says it only when it changes, so that a reader aloud is not flooded. */
function say(words) {
  if (told.textContent !== words) told.textContent = words;
}

say(text("picture.none"));
document.getElementById("fill").addEventListener("click", fillDisplay);
see(canvas, `${location.origin.replace(/^http/, "ws")}/see`, head => {
  document.getElementById("simulated").hidden = !head.simulated;
  if (!goes_on) return say(text("picture.ended"));
  if (performance.now() - told_ms < 1000) return;
  told_ms = performance.now();
  const lit = head.dots.filter(dot => dot[3]).length;
  const dots = head.dots.length;
  say(counted("picture.dots", dots, {dots, lit, frame: head.frame}));
}, () => bright.checked);
