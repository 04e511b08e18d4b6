// What every page of the live process says: that frames are simulated, and that the line is cut.
import {open} from "./link.js";
import {fill, text} from "./texts.js";

const simulated = document.getElementById("simulated"), lost = document.getElementById("lost");

/** Fills the words, and opens the link; `hear` gets every message. */
export function begin(name, hear) {
  fill();
  const link = open(message => {
    if ("simulated" in message) simulated.hidden = !message.simulated;
    hear(message);
  }, word => {
    lost.textContent = word === "connected" ? "" : text("live.waiting");
    if (word === "connected") link_ready();
  });
  let ready = false;
  function link_ready() {
    setTimeout(() => link.say({page: name, ready}));
  }
  return Object.assign(link, {begun() { ready = true; link_ready(); }});
}

/** Fills the display; a page may do so only by a gesture. */
export async function fillDisplay() {
  try {
    await document.documentElement.requestFullscreen();
  } catch {
    // Some browsers allow none: the page then fills its window.
  }
}
