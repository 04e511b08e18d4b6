"""The verb `bench`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from rushlight.errors import Finding

ADDRESS = "127.0.0.1:8780"
_LEAVE = "leave one of them out: nothing is served"


def bench(
    folder: Annotated[
        Path, typer.Argument(help="Holds a rig, or rigs in folders of their own.")
    ] = Path("."),
    address: Annotated[
        str, typer.Option(help="Host and port to serve on; this machine alone by default.")
    ] = ADDRESS,
    no_browser: Annotated[
        bool, typer.Option("--no-browser", help="Do not open the browser.")
    ] = False,
    json: Annotated[
        bool,
        typer.Option(
            "--json",
            help="Serve nothing: print as JSON what the start page tells, the folder's rigs, each "
            "with its stage and next step.",
        ),
    ] = False,
    lookout: Annotated[
        str | None,
        typer.Option(
            help="With --json: print instead the scene of this rig of the folder, as its lookout "
            "draws it."
        ),
    ] = None,
) -> None:
    """Open the whole job in the browser: plan, register, watch, try, results, kit."""
    if json:
        _idle("--address", address if address != ADDRESS else None, "with --json", _LEAVE)
        _idle("--no-browser", "" if no_browser else None, "with --json", _LEAVE)
        _print(folder, lookout)
        return
    _idle("--lookout", lookout, "without --json", "add --json, or leave it out")
    _serve(folder, address, no_browser)


def _idle(option: str, given: str | None, why: str, remedy: str) -> None:
    """Refuse an option that would do nothing."""
    if given is not None:
        from rushlight.errors import RushlightError

        raise RushlightError.of(option, given, f"does nothing {why}", remedy, "option-idle")


def _serve(folder: Path, address: str, no_browser: bool) -> None:
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


def _print(folder: Path, lookout: str | None) -> None:
    from rushlight.cli import render
    from rushlight.jobs.folder import find_rig, folder_told

    if lookout is None:
        render.print_json(folder_told(folder))
        return
    from rushlight.jobs.theatre import theatre

    render.print_json(theatre(find_rig(folder, lookout).file).as_dict())
