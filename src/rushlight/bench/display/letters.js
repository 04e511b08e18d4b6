// Whether single letters act on the whole page. Who dictates to the computer, or strikes keys by
// chance, can turn them off (W3C, Web Content Accessibility Guidelines 2.2, success criterion 2.1.4,
// character key shortcuts; from memory); arrows, Enter, page keys and buttons act always.

const KEPT = "rushlight-letters";
const boxes = () => document.querySelectorAll("[data-letters]");
let act = kept() !== "off";

function kept() {
  try {
    return localStorage.getItem(KEPT);
  } catch {
    return null; // a browser that keeps nothing: then it holds for this page
  }
}

function turn(on) {
  act = on;
  for (const box of boxes()) box.checked = on;
  // What is told of keys is what they do.
  for (const each of document.querySelectorAll("[aria-keyshortcuts], [data-keys]")) {
    each.dataset.keys ??= each.getAttribute("aria-keyshortcuts");
    const left = each.dataset.keys.split(" ").filter(key => on || key.length > 1);
    if (left.length) each.setAttribute("aria-keyshortcuts", left.join(" "));
    else each.removeAttribute("aria-keyshortcuts");
  }
}

/** Whether a key does nothing, because it is a letter and letters are turned off. */
export const muted = event => !act && event.key.length === 1;

for (const box of boxes()) {
  box.addEventListener("change", () => {
    turn(box.checked);
    try {
      localStorage.setItem(KEPT, act ? "on" : "off");
    } catch {
      // It holds for this page.
    }
  });
}
addEventListener("storage", ({key}) => { if (key === KEPT) turn(kept() !== "off"); }); // of another tab
turn(act);
