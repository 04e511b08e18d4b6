// What the camera sees, full screen.
import {begin, fillDisplay} from "./marks.js";
import {see} from "./seeing.js";
import {counted, text} from "./texts.js";

const canvas = document.getElementById("shown"), bright = document.getElementById("bright");
const told = document.getElementById("told");
let told_ms = 0;

begin("picture", () => {}).begun();
told.textContent = text("picture.none");
document.getElementById("fill").addEventListener("click", fillDisplay);
see(canvas, `${location.origin.replace(/^http/, "ws")}/see`, head => {
  document.getElementById("simulated").hidden = !head.simulated;
  if (performance.now() - told_ms < 1000) return;
  told_ms = performance.now();
  const lit = head.dots.filter(dot => dot[3]).length;
  const dots = head.dots.length;
  told.textContent = counted("picture.dots", dots, {dots, lit, frame: head.frame});
}, () => bright.checked);
