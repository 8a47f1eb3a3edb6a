"""The bench's server: routes, and how it is run on this machine alone."""

import asyncio
import json
import re
import secrets
import socket
import time
from collections.abc import AsyncIterator, Callable, Mapping
from importlib.resources import files
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs

import uvicorn
from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, PlainTextResponse, Response, StreamingResponse
from starlette.routing import Route

from gatesim.ground.errors import InputError
from gatesim.scenario import Scenario
from gatesim.scenario.reader import from_raw, parse_text
from gatesim.view.bench.desk import Desk
from gatesim.view.bench.fields import groups
from gatesim.view.bench.guard import Guard
from gatesim.view.bench.handles import handles
from gatesim.view.bench.patch import Changes, plain
from gatesim.view.bench.saving import NEW, Opened, Starter, saved
from gatesim.view.drawing import SCRIPTS, script
from gatesim.view.lengthunit import MM, LengthUnit
from gatesim.view.riggeometry import rig_geometry
from gatesim.view.template import render

Json = dict[str, Any]
OWN_SCRIPTS = ("state", "knobs", "hands", "kept", "choice", "figures", "bench")
UNIT_SCRIPT = "unit"
_WHERE = re.compile(r"^ *([a-z_]+(?:\.\w+)*): ", re.MULTILINE)
REPORT_POLICY = (
    "default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; img-src data:; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'; sandbox allow-scripts allow-downloads"
)


class Bench:
    """The routes on one desk, with the file that was opened and the rigs that it offers to begin with.

    ``unit``: of the lengths that the page shows; what is typed has its own.
    """

    def __init__(
        self,
        desk: Desk,
        opened: Opened | None,
        starters: Mapping[str, Starter],
        changes: Changes,
        unit: LengthUnit = MM,
    ) -> None:
        self.desk, self.opened, self.starters, self.changes = desk, opened, starters, changes
        self.unit = unit

    def routes(self) -> list[Route]:
        """All that is answered; the key in front of the path was checked before."""
        return [
            Route("/{key}/", self.page, methods=["GET"]),
            Route("/{key}/own/{name}", self.static, methods=["GET"]),
            Route("/{key}/rig", self.rig, methods=["POST"]),
            Route("/{key}/answers", self.answers, methods=["POST"]),
            Route("/{key}/save", self.save, methods=["POST"]),
            Route("/{key}/report", self.report, methods=["POST"]),
            Route("/{key}/here", self.here, methods=["POST"]),
        ]

    async def page(self, request: Request) -> Response:
        """The page itself."""
        scripts = [f"{name}.js" for name in (UNIT_SCRIPT, *SCRIPTS, *OWN_SCRIPTS)]
        return HTMLResponse(render("bench/bench.html.j2", scripts=scripts, unit=self.unit.name))

    async def static(self, request: Request) -> Response:
        """A script or a style sheet of the package."""
        name, _, ending = request.path_params["name"].partition(".")
        view = files("gatesim.view")
        if ending == "js" and name == UNIT_SCRIPT:
            unit = f"var gatesim = {{ unit: {json.dumps(self.unit.for_scripts)} }};\n"
            return Response(unit, media_type="text/javascript")
        if ending == "js" and name in SCRIPTS:
            return Response(script(name), media_type="text/javascript")
        if ending == "js" and name in OWN_SCRIPTS:
            return Response((view / "bench" / f"{name}.js").read_bytes(), media_type="text/javascript")
        if ending == "css" and name in ("report", "bench"):
            folder = view / "bench" if name == "bench" else view
            return Response((folder / f"{name}.css").read_bytes(), media_type="text/css")
        raise HTTPException(404)

    async def rig(self, request: Request) -> Response:
        """The table to begin with: of the opened file or of a starter rig."""
        asked = await _body(request)
        if set(asked) - {"starter"}:
            raise HTTPException(400)
        if asked:
            starter = self.starters.get(str(asked["starter"]))
            if starter is None:
                raise HTTPException(404)
            self.opened = Opened(None, starter.text, Path.cwd())
        offered = [
            {"name": name, "title": each.title, "rig": plain_rig(rig_geometry(parse_text(each.text)))}
            for name, each in self.starters.items()
        ]
        if self.opened is None:
            return JSONResponse({"starters": offered, "table": None})
        now = self.opened
        file = None if now.path is None else now.path.name
        begin = {"table": now.table(), "changes": self.changes or None}
        return JSONResponse({"starters": offered, "file": file, "name": now.name, **begin})

    async def answers(self, request: Request) -> Response:
        """One line of JSON an answer, as they come, to the number that the page gave its request."""
        asked = await _body(request)
        page, number, table = asked.get("page"), asked.get("number"), asked.get("table")
        if not (isinstance(page, str) and type(number) is int and isinstance(table, dict)):
            raise HTTPException(400)
        taken = self.desk.begin(page[:64], number)
        if taken is None:
            return JSONResponse({"number": number, "overtaken": True}, 409)
        lines = self._lines(number, table, taken.errand)
        return StreamingResponse(lines, media_type="application/x-ndjson")

    async def _lines(self, number: int, table: Json, errand: Any) -> AsyncIterator[str]:
        def line(name: str, found: Json) -> str:
            return json.dumps({"number": number, "name": name, **found}, allow_nan=False) + "\n"

        try:
            scenario = self._scenario(table)
            read, passed = await self.desk.reading(scenario)
        except (InputError, ArithmeticError) as problem:
            yield line("refused", self._refusal(problem))
            return
        except Exception as fault:  # a page that is told goes on
            yield line("refused", {"sentence": f"not computed, by a fault of gatesim: {fault!r}", "path": ""})
            return
        rig = rig_geometry(scenario)
        shown = {"groups": groups(scenario), "handles": handles(scenario, rig), "rig": plain_rig(rig)}
        yield line("reading", {**read, **shown, "title": scenario.title, "note": scenario.note})
        async for name, found in self.desk.follow(scenario, passed, errand):
            yield line(name, found)

    def _scenario(self, table: Json) -> Scenario:
        """As the command line would take it from a file. Raises InputError."""
        scenario = from_raw(table, self._name)
        if scenario.beside_the_point:
            raise InputError(f"{self._name}: {scenario.beside_the_point}")
        return scenario

    @property
    def _name(self) -> str:
        return NEW if self.opened is None else self.opened.name

    def _refusal(self, problem: Exception) -> Json:
        """The sentence, and the path of the key that it is about."""
        said = str(problem)
        where = _WHERE.search(said.removeprefix(f"{self._name}: "))
        return {"sentence": said, "path": where[1] if where else ""}

    async def save(self, request: Request) -> Response:
        """Write the table into the opened file, or under a new name beside it."""
        asked = await _body(request)
        table, name = asked.get("table"), asked.get("name")
        if not isinstance(table, dict) or not isinstance(name, str | None) or self.opened is None:
            raise HTTPException(400)
        try:
            self.opened = saved(self.opened, table, name)
        except InputError as problem:
            return JSONResponse(self._refusal(problem), 422)
        assert self.opened.path is not None
        return JSONResponse({"file": self.opened.path.name, "name": self.opened.name})

    async def report(self, request: Request) -> Response:
        """The report of this state, as a page of its own."""
        form = parse_qs((await request.body()).decode("utf-8", "replace"), max_num_fields=2)
        try:
            scenario = self._scenario(_table(form.get("table", [""])[0]))
            html = await asyncio.to_thread(self.desk.answers.page, scenario)
        except InputError as problem:
            return PlainTextResponse(str(problem), 422)
        return HTMLResponse(html, headers={"content-security-policy": REPORT_POLICY})

    async def here(self, request: Request) -> Response:
        """A page says that it is still open."""
        return Response(status_code=204)


def plain_rig(rig: Any) -> Json:
    """A rig's geometry as plain data."""
    from dataclasses import asdict

    found: Json = plain(asdict(rig))
    return found


def _table(text: str) -> Json:
    try:
        table = json.loads(text, parse_constant=_no_number)
    except (ValueError, RecursionError):
        raise HTTPException(400) from None
    if not isinstance(table, dict):
        raise HTTPException(400)
    return table


def _no_number(word: str) -> float:
    raise ValueError(word)


async def _body(request: Request) -> Json:
    """The JSON object of a request. Raises HTTPException."""
    if request.headers.get("content-type", "").partition(";")[0] != "application/json":
        raise HTTPException(415)
    try:
        return _table((await request.body()).decode("utf-8"))
    except UnicodeDecodeError:
        raise HTTPException(400) from None


def serve(bench: Bench, say: Callable[[str], None], idle: float | None) -> None:
    """Serve on a free port of this machine until Ctrl-C, or until no page was open for ``idle`` seconds.

    ``say`` hears the address once it can be opened.
    """
    listening = socket.socket()
    listening.bind(("127.0.0.1", 0))
    listening.listen()  # so that the address can be opened as soon as it is said
    port, key = listening.getsockname()[1], secrets.token_urlsafe(24)
    guard = Guard(Starlette(routes=bench.routes()), key, port)
    config = uvicorn.Config(
        guard, log_level="critical", access_log=False, server_header=False, lifespan="off",
        http="h11", ws="none", timeout_graceful_shutdown=1, limit_concurrency=200,
    )  # fmt: skip
    server = uvicorn.Server(config)

    async def run() -> None:
        ending = asyncio.create_task(_end_when_left(server, guard, idle)) if idle else None
        say(f"http://127.0.0.1:{port}/{key}/")
        await server.serve(sockets=[listening])
        if ending is not None:
            ending.cancel()

    try:
        asyncio.run(run())
    finally:
        bench.desk.close()
        listening.close()


async def _end_when_left(server: uvicorn.Server, guard: Guard, idle: float) -> None:
    while time.monotonic() - guard.last < idle:
        await asyncio.sleep(min(1.0, idle))
    server.should_exit = True
