"""Compile the numerical kernels during set-up, so that no first run stalls."""

from __future__ import annotations

from pathlib import Path

import rushlight

PACKAGE = Path(rushlight.__file__).parent


def remove_stale(package: Path = PACKAGE) -> None:
    """Remove what was compiled before any kernel's source last changed.

    The compiler's own check looks at the file of a kernel alone, not at the files of the functions
    and numbers (of `physics`) that it takes in: with one of those changed, yesterday's kernel would
    go on being used.
    """
    sources = [
        file
        for file in package.rglob("*.py")
        if file.parent.name == "physics" or "njit" in file.read_text("utf-8")
    ]
    newest = max((file.stat().st_mtime for file in sources), default=0.0)
    for compiled in package.rglob("__pycache__/*.nb[ic]"):
        if compiled.stat().st_mtime < newest:
            compiled.unlink(missing_ok=True)


def warm() -> None:
    """Compile every kernel for the types it is used with; later calls find them cached."""
    from rushlight.plan.warm import warm as warm_plan
    from rushlight.see.warm import warm as warm_see
    from rushlight.simulate.warm import warm as warm_simulate
    from rushlight.track.warm import warm as warm_track

    warm_see()
    warm_simulate()
    warm_track()
    warm_plan()


if __name__ == "__main__":
    remove_stale()
    warm()
