"""Lists every value and formula marked "from memory": run it to write docs/from-memory.md anew."""

from __future__ import annotations

import re
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PAGE = ROOT / "docs" / "from-memory.md"
MARK = re.compile(r"from\s+memory", re.IGNORECASE)
HEAD = """# What stands here from memory

Every place in the program, its shelf, its tests and its benchmarks that says of a number or formula
that it was recalled and not checked against its source. Written by
`python tests/faces/from_memory.py`; a test holds it current. Check what matters to you against the
source named, above all limits for eyes and skin, and tell us.
"""


def _toml(text: str) -> list[str]:
    """The id of the part and the whole line, for every marked line."""
    found, part = [], ""
    for line in text.splitlines():
        if line.startswith("id = "):
            part = line.split('"')[1]
        if MARK.search(line):
            found.append(f"{part}: {' '.join(line.split())}".replace("`", "'"))
    return found


def _python(text: str) -> list[str]:
    """The line that is marked, with the one before it, within the nearest name above."""
    lines, found, name = text.splitlines(), [], ""
    for index, line in enumerate(lines):
        head = re.match(r"\s*(?:def|class) (\w+)|([A-Z_]{3,})(?:: [^=]+)? =", line)
        name = (head[1] or head[2]) if head else name
        joined = f"{line} {lines[index + 1] if index + 1 < len(lines) else ''}"
        hit = MARK.search(joined)
        if hit and hit.start() < len(line):
            before = lines[index - 1].strip() if index else ""
            words = " ".join(f"{before} {joined}".split()).replace("`", "'")
            found.append(f"{name or 'module'}: {words}")
    return found


def page() -> str:
    """The whole page."""
    parts = [HEAD]
    for folder in ("src", "tests", "benchmarks"):
        for path in sorted((ROOT / folder).rglob("*")):
            if path.suffix not in (".py", ".toml", ".jinja") or "from_memory" in path.name:
                continue
            text = path.read_text("utf-8")
            found = _toml(text) if path.suffix == ".toml" else _python(text)
            if found:
                parts.append(f"\n## {path.relative_to(ROOT).as_posix()}\n")
                parts += [f"- `{each}`" for each in dict.fromkeys(found)]
    return "\n".join(parts) + "\n"


if __name__ == "__main__":
    PAGE.write_text(page(), "utf-8")
