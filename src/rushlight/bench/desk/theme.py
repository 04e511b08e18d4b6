"""The look of the desk pages: style sheets, light or dark as browser or user wishes."""

from __future__ import annotations

import importlib.resources
from functools import cache

MARK = (
    '<svg viewBox="0 0 24 24" aria-hidden="true"><path d="M12 22V11" stroke="currentColor" '
    'stroke-width="2.4" stroke-linecap="round"/><path d="M12 1.5c2.6 3 3.6 4.6 3.6 6.2a3.6 3.6 0 0 '
    '1-7.2 0c0-1.6 1-3.2 3.6-6.2z" fill="#D2691E"/></svg>'
)
"""A rush with its flame."""

FAVICON = MARK.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ').replace(
    "currentColor", "#8A8172"
)

# Before the first paint, so that nothing flashes; kept by the browser, not by the server.
_CHOOSE = """
(() => {
  const wanted = () => localStorage.getItem("rushlight-theme")
    || (matchMedia("(prefers-color-scheme: dark)").matches ? "dark" : "light");
  const set = (theme) => { document.documentElement.dataset.theme = theme; };
  set(wanted());
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => set(wanted()));
  window.rushlightTheme = () => {
    const next = document.documentElement.dataset.theme === "dark" ? "light" : "dark";
    localStorage.setItem("rushlight-theme", next);
    set(next);
  };
  // On a narrow screen the stages scroll: the one that is shown comes into view.
  const reveal = (left) => {
    const shown = document.querySelector(".desk-stages [aria-current]");
    if (!shown) { if (left) setTimeout(reveal, 100, left - 1); return; }
    const row = shown.closest("nav"), [own, its] = [shown, row].map(e => e.getBoundingClientRect());
    row.scrollBy({left: own.left + own.width / 2 - its.left - its.width / 2});
  };
  addEventListener("DOMContentLoaded", () => reveal(50));
  addEventListener("resize", () => reveal(0));
})();
"""


@cache
def head_html() -> str:
    """What stands in the head of every page."""
    folder = importlib.resources.files("rushlight.bench.desk")
    files = sorted(each.name for each in folder.iterdir() if each.name.endswith(".css"))
    css = "\n".join(folder.joinpath(name).read_text(encoding="utf-8") for name in files)
    return f"<script>{_CHOOSE}</script><style>{css}</style>"
