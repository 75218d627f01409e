"""The page's addresses: its own files, the stream, actions, and what was done before."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass
from importlib.resources import files
from types import MappingProxyType
from typing import Final

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response, StreamingResponse
from starlette.routing import Route

from daq.errors import TrimbenchError
from procedures.page.actions import Stale, Wish, act
from procedures.page.archive import Records, runs, trend, trends
from procedures.page.doorway import Doorway
from procedures.page.events import last_id
from procedures.page.hub import Hub
from procedures.page.offers import Offers
from procedures.page.pairing import COOKIE, Pairing
from procedures.page.present import Body
from procedures.page.screens import Screens

_TYPES: Final[Mapping[str, str]] = MappingProxyType(
    {".html": "text/html", ".css": "text/css", ".js": "text/javascript", ".svg": "image/svg+xml"}
)
_PDF_HEADERS: Final = MappingProxyType(
    # A browser's own PDF viewer is made of scripts and styles that the page's policy would stop.
    {"content-security-policy": "frame-ancestors 'none'", "content-disposition": "inline"}
)


@dataclass(frozen=True, slots=True)
class Parts:
    """What the addresses give access to.

    Attributes
    ----------
    site
        What a screen is told about the station and the run when it loads.
    """

    site: Body
    hub: Hub
    offers: Offers
    screens: Screens
    pairing: Pairing
    door: Doorway
    records: Records


def make_app(parts: Parts) -> Starlette:
    """Return the application; it still needs its guard (`procedures.page.guard`)."""
    page = _Page(parts)
    routes = [
        Route("/site.json", page.site),
        Route("/events", page.events),
        Route("/act", page.act, methods=["POST"]),
        Route("/pair", page.pair, methods=["POST"]),
        Route("/runs.json", page.runs),
        Route("/trends.json", page.trends),
        Route("/trend.json", page.trend),
        Route("/records/{run:int}.pdf", page.record),
        *(Route(address, _file(content, kind)) for address, content, kind in _static_files()),
    ]
    return Starlette(routes=routes, exception_handlers={TrimbenchError: _refused})


class _Page:
    def __init__(self, parts: Parts) -> None:
        self._parts = parts

    async def site(self, request: Request) -> Response:
        acts = self._parts.pairing.may_act(request.cookies.get(COOKIE))
        return JSONResponse({**self._parts.site, "may_act": acts})

    async def events(self, request: Request) -> Response:
        screens = self._parts.screens
        if screens.full:
            raise HTTPException(503, "Too many screens are open.")
        given = request.headers.get("last-event-id") or request.query_params.get("after")
        stream = screens.stream(last_id(given))
        return StreamingResponse(stream, media_type="text/event-stream")

    async def act(self, request: Request) -> Response:
        body = await _object(request)
        wish = Wish(str(body.get("id", "")), str(body.get("do", "")), str(body.get("text", "")))
        # Looked at when the body is there, and until the wish is handed over: a screen that is let
        # go meanwhile may no longer act.
        with self._parts.pairing.acting(request.cookies.get(COOKIE)) as may_act:
            if not may_act:
                raise HTTPException(401, "Only the paired screen may act; this one looks on.")
            try:
                act(wish, self._parts.hub, self._parts.offers)
            except Stale as error:
                raise HTTPException(409, error.message) from error
        return JSONResponse({"done": True})

    async def pair(self, request: Request) -> Response:
        cookie = self._parts.pairing.exchange(str((await _object(request)).get("token", "")))
        if cookie is None:
            raise HTTPException(401, "That code is wrong, or was used already.")
        address = request.client.host if request.client else "an unknown address"
        await asyncio.to_thread(self._parts.door.came, address)
        response = JSONResponse({"done": True})
        response.set_cookie(COOKIE, cookie, secure=True, httponly=True, samesite="strict")
        return response

    async def runs(self, _: Request) -> Response:
        return JSONResponse(await asyncio.to_thread(runs, self._parts.records.log_path))

    async def trends(self, _: Request) -> Response:
        return JSONResponse(await asyncio.to_thread(trends, self._parts.records.station_path))

    async def trend(self, request: Request) -> Response:
        name = request.query_params.get("parameter", "")
        return JSONResponse(await asyncio.to_thread(trend, self._parts.records.station_path, name))

    async def record(self, request: Request) -> Response:
        path = await asyncio.to_thread(self._parts.records.pdf, int(request.path_params["run"]))
        content = await asyncio.to_thread(path.read_bytes)
        return Response(content, media_type="application/pdf", headers=dict(_PDF_HEADERS))


async def _refused(_: Request, error: Exception) -> Response:
    return JSONResponse({"error": str(error)}, status_code=422)


async def _object(request: Request) -> Mapping[str, object]:
    try:
        body = json.loads(await request.body())
    except ValueError as error:
        raise HTTPException(400, "That is not JSON.") from error
    if not isinstance(body, dict):
        raise HTTPException(400, "A JSON object is expected.")
    return body


def _static_files() -> list[tuple[str, bytes, str]]:
    """Return address, content and type of every file of the page; only these can be asked for."""
    found = []
    for file in files("procedures.page").joinpath("static").iterdir():
        kind = _TYPES.get("." + file.name.rpartition(".")[2])
        if kind is not None:
            address = "/" if file.name == "index.html" else f"/{file.name}"
            found.append((address, file.read_bytes(), kind))
    return found


def _file(content: bytes, kind: str) -> Callable[[Request], Awaitable[Response]]:
    async def serve(_: Request) -> Response:
        return Response(content, media_type=kind)

    return serve
