"""A rig while somebody changes it on one page: its text, what it shows, and what was kept beside.

Each page has its own draft, so that two tabs do not disturb each other. The browser keeps the
text for its tab, so that a server that is started anew does not lose it.
"""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from nicegui import ui

from rushlight.bench.desk.worker import quickly
from rushlight.jobs.edit import edited, save
from rushlight.jobs.folder import RigPlace
from rushlight.jobs.glance import Glance, glance
from rushlight.records.document import read_text


def change_and_look(text: str, changes: dict[str, str], folder: Path) -> tuple[str, Glance]:
    """The text with some values changed, and all that it shows; for the worker."""
    for path, given in changes.items():
        text = edited(text, path, given)
    return text, glance(text, folder)


@dataclass
class Draft:
    """One page's rig.

    Attributes
    ----------
    place
        The rig.
    read_as
        What stood in the file when this page began, or last saved.
    text
        As changed, but for what `settle` still has to write.
    shown
        What `text` shows.
    beside
        A variant kept for comparison: its text and what it shows.
    came
        What came into it on another page, in words that its page tells once; empty where nothing
        did.
    """

    place: RigPlace
    read_as: str
    text: str
    shown: Glance = field(default_factory=Glance)
    beside: tuple[str, Glance] | None = None
    came: str = ""
    _unwritten: dict[str, str] = field(default_factory=dict)
    _changes: int = 0
    _since_ms: float = 0.0
    _busy: bool = False
    _settling: asyncio.Lock = field(default_factory=asyncio.Lock)

    @classmethod
    def of(cls, place: RigPlace) -> Draft:
        """The rig as its file has it."""
        text = read_text(place.file)
        return cls(place, text, text)

    @property
    def changed(self) -> bool:
        """Whether there is anything to save."""
        return bool(self._unwritten) or self.text != self.read_as

    @property
    def key(self) -> str:
        """Under which the browser keeps it for its tab."""
        return f"rushlight-draft:{self.place.file.resolve()}"

    @property
    def beside_key(self) -> str:
        """Under which the browser keeps the text of the variant beside it for its tab."""
        return f"rushlight-beside:{self.place.file.resolve()}"

    async def change(
        self, path: str, given: str, stamp_ms: float, show: Callable[[float], None]
    ) -> None:
        """Change a value and see the map; of values that come meanwhile the newest counts.

        Parameters
        ----------
        path, given
            As of `rushlight.jobs.edit.edited`.
        stamp_ms
            When the user moved it, by the browser's clock [ms]; not 0.
        show
            Called whenever there is a new map to show, with the stamp of the first change that
            none before it showed: changes that came together are told with the longest delay.
        """
        self._unwritten[path] = given
        self._since_ms = self._since_ms or stamp_ms
        self._changes += 1
        if self._busy:
            return
        self._busy = True
        try:
            seen = 0
            while seen != self._changes:
                seen, since_ms, self._since_ms = self._changes, self._since_ms, 0.0
                changes = dict(self._unwritten)
                self.shown = await quickly(glance, self.text, self.place.folder, changes, False)
                show(since_ms)
        finally:
            self._busy = False

    @property
    def faulty(self) -> bool:
        """Whether the rig cannot be used as it stands."""
        return any(each.severity == "error" for each in self.shown.findings)

    @property
    def unsettled(self) -> bool:
        """Whether changes are not in the text yet."""
        return bool(self._unwritten)

    async def settle(self) -> None:
        """Write the changes into the text, and see all that it shows.

        Raises
        ------
        RushlightError
            When nothing stands at the path of a change; it is given up then.
        """
        async with self._settling:
            text, changes = self.text, dict(self._unwritten)
            try:
                written, shown = await quickly(change_and_look, text, changes, self.place.folder)
            finally:
                self._unwritten = {
                    path: given
                    for path, given in self._unwritten.items()
                    if changes.get(path) != given
                }
            if self.text == text:  # nobody took another text meanwhile
                self.text, self.shown = written, shown

    def take(self, text: str) -> None:
        """Take another text for the whole rig; changes that are not in the old one are dropped."""
        self._unwritten = {}
        self.text = text

    def lay_beside(self) -> None:
        """Keep the rig as it is now for comparison, here and in the tab."""
        self.beside = (self.text, self.shown)
        kept = json.dumps(self.text)
        ui.run_javascript(f"sessionStorage.setItem({json.dumps(self.beside_key)}, {kept})")

    def change_places(self) -> None:
        """Go on with the variant beside, and keep the present one there; settle first."""
        if self.beside is not None:
            words, shown = self.beside
            self.lay_beside()
            self.take(words)
            self.shown = shown

    def save(self) -> None:
        """Write the file, unless it was changed elsewhere."""
        save(self.place.file, self.text, self.read_as)
        self.read_as = self.text

    def take_file_as_read(self) -> None:
        """Read the file anew; the text stays as changed."""
        self.read_as = read_text(self.place.file)

    def keep_in_browser(self) -> None:
        """Let the tab keep what is not saved yet."""
        if self.changed:
            now = {"text": self.text, "read_as": self.read_as, "came": self.came}
            kept = json.dumps(json.dumps(now))
            ui.run_javascript(f"sessionStorage.setItem({json.dumps(self.key)}, {kept})")
        else:
            ui.run_javascript(f"sessionStorage.removeItem({json.dumps(self.key)})")

    async def take_beside_from_browser(self) -> None:
        """Take up the variant that the tab kept for comparison, if it kept one."""
        wanted = f"sessionStorage.getItem({json.dumps(self.beside_key)})"
        found = await ui.run_javascript(wanted, timeout=10.0)
        if found is not None and self.beside is None:  # none was laid there meanwhile
            _, shown = await quickly(change_and_look, found, {}, self.place.folder)
            self.beside = self.beside or (found, shown)

    async def take_from_browser(self) -> bool:
        """Take up what the tab kept; whether there was anything unsaved."""
        wanted = f"sessionStorage.getItem({json.dumps(self.key)})"
        found = await ui.run_javascript(wanted, timeout=10.0)
        if not found:
            return False
        kept: dict[str, Any] = json.loads(found)
        if kept["text"] == self.read_as:
            return False
        self.text, self.read_as = kept["text"], kept["read_as"]
        self.came = str(kept.get("came", ""))
        return True
