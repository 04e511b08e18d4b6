"""The verb `bench`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from rushlight.errors import Finding


def bench(
    folder: Annotated[
        Path, typer.Argument(help="Holds a rig, or rigs in folders of their own.")
    ] = Path("."),
    address: Annotated[
        str, typer.Option(help="Host and port to serve on; this machine alone by default.")
    ] = "127.0.0.1:8780",
    no_browser: Annotated[
        bool, typer.Option("--no-browser", help="Do not open the browser.")
    ] = False,
) -> None:
    """Open the whole job in the browser: plan, register, watch, try, results, kit."""
    import webbrowser

    from rushlight.bench.desk.server import serve
    from rushlight.cli import render

    def ready(url: str, findings: list[Finding]) -> None:
        for finding in findings:
            render.aside(f"! {finding.severity}: {finding}")
        render.aside(f"the bench: {url} (Ctrl-C ends)")
        if not no_browser:
            webbrowser.open(url)

    serve(folder, address, ready)
