"""What the display pages ask of the live process beside their own files: scenes, marks, trials."""

from __future__ import annotations

import asyncio
import importlib.resources
import json
import re
import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from types import MappingProxyType
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response
from starlette.routing import Route

from rushlight.bench.guard import may_enter
from rushlight.errors import Finding, RushlightError
from rushlight.jobs.folder import find_rig

MOST_BYTES = 32_000_000
"""Greatest body of one run; a run of most samples is smaller."""

_NUMBER = re.compile(r"[0-9a-f]{12,32}")


def three_file() -> Path:
    """three.js with its glTF loader, as the installed NiceGUI ships them."""
    folder = importlib.resources.files("nicegui")
    return Path(str(folder / "elements" / "scene" / "dist" / "index.js"))


def display_routes(
    folder: Path,
    open_to_network: bool = False,
    simulated: Callable[[], bool] = lambda: False,
    typed: Mapping[str, tuple[str, str]] = MappingProxyType({}),
) -> list[Route]:
    """Routes to be joined to the live process's own.

    Parameters
    ----------
    folder
        With rigs in it.
    open_to_network
        Whether it is served to more than this machine.
    simulated
        Tells whether the act that runs now is rehearsed.
    typed
        By rig, who types a survey's readings at the desk, and what; not kept yet.
    """

    def rig_of(request: Request) -> Path:
        return find_rig(folder, request.query_params.get("rig", "")).file

    async def three(_: Request) -> Response:
        headers = {"Cache-Control": "no-cache", "X-Content-Type-Options": "nosniff"}
        return FileResponse(three_file(), media_type="text/javascript", headers=headers)

    async def scene(request: Request) -> Response:
        from rushlight.jobs.theatre import theatre

        return await _answer(lambda: theatre(rig_of(request)).as_dict())

    async def marks(request: Request) -> Response:
        from rushlight.jobs.survey_marks import survey_marks

        def told() -> dict[str, Any]:
            rig = rig_of(request)
            _, words = typed.get(request.query_params["rig"], ("", None))
            found = survey_marks(rig, words=words).as_dict()
            return found if words is None else {**found, "typed": True}

        return await _answer(told)

    async def plan(request: Request) -> Response:
        from rushlight.jobs.trials_plan import try_plan

        task, seed = request.query_params.get("task", "ring"), request.query_params.get("seed", "0")
        number = int(seed) if seed.isdecimal() and len(seed) < 10 else 0
        return await _answer(
            lambda: json.loads(try_plan(rig_of(request), task, number).json_text())
        )

    async def keep(request: Request) -> Response:
        from rushlight.jobs.trials import keep_run

        headers = request.headers
        # A page of the bench states where it comes from, and what it sends is JSON, which no
        # stranger's form can say.
        stated = headers.get("origin")
        if stated is None or not may_enter(stated, headers.get("host"), open_to_network):
            return Response("trials come from pages of this machine only\n", 403)
        if headers.get("content-type", "").split(";")[0] != "application/json":
            return Response("trials are JSON\n", 415)
        text = bytearray()
        async for chunk in request.stream():
            text += chunk
            if len(text) > MOST_BYTES:
                return Response("a run is not so large\n", 413)
        # The page tells how it was while the run was done: what goes on now may be another act, or,
        # in a live process that was started anew, none.
        rehearsed = simulated() or request.query_params.get("simulated") == "1"
        return await _answer(lambda: keep_run(rig_of(request), _parsed(text), rehearsed).as_dict())

    async def assessed(request: Request) -> Response:
        number = request.path_params["number"]
        try:
            rig = rig_of(request)
            file = rig.parent / "trials" / f"sitting-{number}.json"
            if not _NUMBER.fullmatch(number) or not file.is_file():
                raise RushlightError.of(
                    "trials", number, "is no sitting of this rig", "record one first", "no-sitting"
                )
        except RushlightError as error:
            return _refused(error)
        # The command itself, in a process of its own: what runs beside it is not held up.
        process = await asyncio.create_subprocess_exec(
            sys.executable, "-m", "rushlight", "assess", str(file), "--rig", str(rig), "--json",
            stdout=asyncio.subprocess.PIPE, stderr=asyncio.subprocess.PIPE,
        )  # fmt: skip
        out, err = await process.communicate()
        if process.returncode:
            said = err.decode(errors="replace").strip().splitlines()
            finding = Finding("error", "assess", "assess", "", said[-1] if said else "failed", "")
            return _refused(RushlightError(finding))
        return Response(out, media_type="application/json")

    return [
        Route("/lib/three.js", three),
        Route("/theatre.json", scene),
        Route("/survey.json", marks),
        Route("/try.json", plan),
        Route("/trials", keep, methods=["POST"]),
        Route("/trials/{number}.json", assessed),
    ]


async def _answer(job: Callable[[], Any]) -> Response:
    try:
        return JSONResponse(await run_in_threadpool(job))
    except RushlightError as error:
        return _refused(error)


def _refused(error: RushlightError) -> Response:
    findings = [{**each.as_dict(), "sentence": str(each)} for each in error.findings]
    return JSONResponse({"findings": findings}, 409)


def _parsed(text: bytearray) -> Any:
    try:
        return json.loads(text)
    except ValueError:
        raise RushlightError.of(
            "trials", "", "is not valid JSON", "send the run again", "json"
        ) from None
