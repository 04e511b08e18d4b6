"""Files that the desk hands out: a rig's published kit, its preview, and tables of results."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from rushlight.errors import RushlightError
from rushlight.jobs.folder import find_rig

if TYPE_CHECKING:
    from fastapi import FastAPI

KIT_FOLDER = "kit"

_QUIET = {
    "Content-Security-Policy": "default-src 'none'; img-src 'self' data:; "
    "style-src 'unsafe-inline'; frame-ancestors 'self'",
    "X-Content-Type-Options": "nosniff",
    "Cache-Control": "no-cache",
}
"""A kit is a page of other people's words: it runs nothing and asks nobody for anything."""

_previews: dict[Path, bytes] = {}


def keep_preview(rig: Path, page: bytes) -> None:
    """Keep the page that a rig's kit would have, until the next one."""
    _previews[rig.resolve()] = page


def add_files(app: FastAPI, folder: Path) -> None:
    """Add the routes.

    Parameters
    ----------
    app
        The desk's application.
    folder
        Holds the rigs.
    """
    from starlette.responses import FileResponse, Response

    def missing() -> Response:
        return Response("not here\n", 404, media_type="text/plain")

    @app.get("/rig/{name}/results.csv")
    def results_table(name: str) -> Response:
        from rushlight.jobs.results import results_csv

        try:
            content = results_csv(find_rig(folder, name).file)
        except RushlightError as error:
            return Response(f"{error}\n", 409, media_type="text/plain")
        kept = {"Content-Disposition": f'attachment; filename="{name}-results.csv"'}
        return Response(content, headers=kept, media_type="text/csv; charset=utf-8")

    @app.get("/rig/{name}/preview.html")
    def preview(name: str) -> Response:
        try:
            page = _previews.get(find_rig(folder, name).file.resolve())
        except RushlightError:
            page = None
        if page is None:
            return missing()
        return Response(page, headers=_QUIET, media_type="text/html; charset=utf-8")

    @app.get("/rig/{name}/published.zip")
    def archive(name: str) -> Response:
        file = _inside(folder, name, f"{KIT_FOLDER}.zip")
        return missing() if file is None else FileResponse(file, filename=f"{name}-kit.zip")

    @app.get("/rig/{name}/published/{path:path}")
    def published(name: str, path: str) -> Response:
        file = _inside(folder, name, f"{KIT_FOLDER}/{path}")
        return missing() if file is None else FileResponse(file, headers=_QUIET)


def _inside(folder: Path, name: str, path: str) -> Path | None:
    """A file of a rig's kit or its archive; None where it is none, or lies elsewhere."""
    try:
        home = find_rig(folder, name).folder.resolve()
    except RushlightError:
        return None
    file = (home / path).resolve()
    allowed = file == home / f"{KIT_FOLDER}.zip" or file.is_relative_to(home / KIT_FOLDER)
    return file if allowed and file.is_file() else None
