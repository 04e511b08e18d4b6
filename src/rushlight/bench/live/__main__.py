"""Start the live process: ``python -m rushlight.bench.live FOLDER``."""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import sys
from pathlib import Path

from rushlight.bench.live.control import DEFAULT_ADDRESS
from rushlight.bench.live.server import serve
from rushlight.errors import RushlightError


def main() -> int:
    """Read the options, and serve until ended."""
    parser = argparse.ArgumentParser(prog="python -m rushlight.bench.live", description=__doc__)
    parser.add_argument("folder", type=Path, help="with rigs in it, each a folder with rig.toml")
    parser.add_argument("--address", default=DEFAULT_ADDRESS, help="host and port")
    asked = parser.parse_args()
    if not asked.folder.is_dir():
        print(f'folder = "{asked.folder}" is no folder; name one with rigs in it.', file=sys.stderr)
        return 2
    try:
        with contextlib.suppress(KeyboardInterrupt):
            asyncio.run(serve(asked.folder, asked.address))
    except RushlightError as error:
        print(error, file=sys.stderr)
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main())
