"""The desk's web application: pages by NiceGUI, their twins, and the guard before all."""

from __future__ import annotations

import inspect
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

from rushlight.bench.guard import Application, Guard
from rushlight.errors import RushlightError


def make_app(folder: Path, open_to_network: bool = False) -> Application:
    """The application that serves a folder's rigs.

    Parameters
    ----------
    folder
        Holds a rig, or rigs in folders of their own.
    open_to_network
        Whether it is served to more than this machine.
    """
    from fastapi import FastAPI
    from nicegui import app as nicegui_app
    from nicegui import ui
    from starlette.responses import Response
    from starlette.staticfiles import StaticFiles

    from rushlight.bench.desk.files import add_files
    from rushlight.bench.desk.live_link import live_link
    from rushlight.bench.desk.survey_show import add_way
    from rushlight.bench.desk.theme import FAVICON
    from rushlight.bench.desk.twins import rig_twin, start_twin, twin_text
    from rushlight.bench.desk.worker import warm_up
    from rushlight.bench.texts import catalogue, locale

    live_link(folder)
    app = FastAPI(openapi_url=None, docs_url=None, redoc_url=None)

    def answer(twin: Callable[[], Any]) -> Response:
        content, status = twin_text(twin)
        return Response(content, status, media_type="application/json")

    # Jobs may take seconds: plain functions, which the server runs in threads of their own.
    @app.get("/start.json")
    def start_json() -> Response:
        return answer(lambda: start_twin(folder))

    @app.get("/rig/{name}/{stage}.json")
    def rig_json(name: str, stage: str) -> Response:
        return answer(lambda: rig_twin(folder, name, stage))

    @app.get("/texts.json")
    def texts_json() -> Response:
        return Response(json.dumps(catalogue(locale())), media_type="application/json")

    # The browser's pieces that display pages and desk pages share.
    app.mount("/display", StaticFiles(packages=[("rushlight.bench", "display")]))
    add_files(app, folder)
    add_way(app, folder)
    app.mount("/desk", StaticFiles(packages=[("rushlight.bench.desk", "static")]))
    _add_pages(folder)
    nicegui_app.on_startup(warm_up)
    # The guard stands outside; no packing of answers, which would hold back moving pictures.
    ui.run_with(
        app,
        title="Rushlight",
        favicon=FAVICON,
        tailwind=False,
        gzip_middleware_factory=None,
        reconnect_timeout=10.0,
        show_welcome_message=False,
    )
    # A stranger's page must not lay a desk page under its own buttons.
    return Guard(app, open_to_network, framed_by="'self'")


def _add_pages(folder: Path) -> None:
    from nicegui import ui

    from rushlight.bench.desk.frame import element, findings_list, frame, link
    from rushlight.bench.desk.stages import stage_page
    from rushlight.bench.desk.start import draw_start
    from rushlight.bench.texts import text
    from rushlight.jobs.folder import find_rig

    @ui.page("/")
    async def start() -> None:
        with frame(text("start.title")):
            await draw_start(folder)

    @ui.page("/rig/{name}/{stage}", response_timeout=30.0)  # a busy computer needs more than 3 s
    async def rig(name: str, stage: str) -> None:
        try:
            place = find_rig(folder, name)
            page = stage_page(stage)
        except RushlightError as error:
            with frame(text("missing.title")):
                element("h1", text("missing.title"))
                findings_list(error.findings)
                link(text("missing.back"), "/", "button")
            return
        if page is None:
            with frame(text("missing.title")):
                element("h1", text("missing.title"))
                link(text("missing.back"), "/", "button")
            return
        with frame(f"{text(f'stage.{stage}')}, {place.title or place.name}", place, stage):
            if place.fault and stage != "plan":  # where it can be mended
                element("h1", text("fault.title"))
                element("p", place.fault, "lead")
                link(text("fault.mend"), f"/rig/{place.name}/plan", "button")
                return
            try:
                drawn = page.draw(place)
                if inspect.isawaitable(drawn):
                    await drawn
            except RushlightError as error:
                drawn_so_far = ui.context.client.elements.values()
                headed = any(each.tag == "h1" for each in drawn_so_far)
                element("h2" if headed else "h1", text("fault.title"))
                findings_list(error.findings)
