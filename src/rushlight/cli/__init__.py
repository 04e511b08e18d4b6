"""The command line: one file a verb. Each parses, calls one job, and renders; no arithmetic."""

from __future__ import annotations

import importlib
import sys

import typer

import rushlight
from rushlight.errors import RushlightError

VERBS = (
    "new",
    "check",
    "parts",
    "plan",
    "search",
    "inspect",
    "simulate",
    "calibrate",
    "aim",
    "survey",
    "register",
    "ready",
    "run",
    "assess",
    "kit",
    "bench",
    "demo",
)

app = typer.Typer(
    name="rushlight",
    help="Choose, build, register, track, assess and publish low-cost infrared displays.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)


def _show_version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"rushlight {rushlight.__version__}")
        raise typer.Exit


@app.callback()
def _common(
    version: bool = typer.Option(
        False, "--version", is_eager=True, callback=_show_version, help="Show the version."
    ),
) -> None:
    """Every stage is a verb that reads files and writes files."""


for _verb in VERBS:
    _module = importlib.import_module(f"rushlight.cli.{_verb}")
    app.command(_verb)(getattr(_module, _verb))


def main() -> None:
    """Run the command; whatever the user can mend ends in plain sentences and exit code 2."""
    try:
        app()
    except RushlightError as error:
        for finding in error.findings:
            print(str(finding), file=sys.stderr)
        sys.exit(2)
    except KeyboardInterrupt:
        print("stopped by the user; what was complete is kept", file=sys.stderr)
        sys.exit(130)
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(0)
