"""The routes: what the browser may ask for, and the answers as JSON.

Every answer to a mistake is one line, `{"error": ...}`, with the field it belongs to where that is
known. What is asked is a struct of `wire`, so an unknown key is refused by name.
"""

from __future__ import annotations

import re
import warnings
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import Response, StreamingResponse
from starlette.routing import Route

from ..errors import InputError
from . import live, start
from .desk import Desk
from .guard import TOO_LARGE, TooLarge
from .wire import Asked, Shot, decode, encode

STATIC = Path(__file__).parent / "static"
_TYPES = {".html": "text/html", ".css": "text/css", ".js": "text/javascript",
          ".svg": "image/svg+xml"}
# The words that a one-line error starts with -> the field that they belong beside.
_FIELDS = (
    (r"speed", "speed_mph"), (r"rev rate", "rev_rpm"), (r"axis rotation", "rotation_deg"),
    (r"axis tilt", "tilt_deg"), (r"laydown board", "laydown_board"),
    (r"(target board|launch angle)", "target_board"), (r"(layout|drilling|pin|VAL)", "layout"),
    (r"(finish|grit)", "finish"), (r"(unknown ball|ball )", "ball"),
    (r"(unknown pattern|.*\.oil)", "pattern"), (r"unknown level", "level"),
)


def field_of(message: str) -> str:
    """The field that a one-line error belongs beside; empty if none."""
    return next((name for words, name in _FIELDS if re.match(words, message, re.I)), "")


def answer(value: Any, status: int = 200) -> Response:
    """A JSON answer."""
    return Response(encode(value), status, media_type="application/json")


def error_answer(message: str, status: int = 422) -> Response:
    """A mistake in one line."""
    text = " ".join(message.split())
    return answer({"error": text, "field": field_of(text)}, status)


Handler = Callable[[Request], Awaitable[Response]]


def guarded(handler: Handler) -> Handler:
    """Turn what a user got wrong into one line."""

    async def careful(request: Request) -> Response:
        try:
            return await handler(request)
        except InputError as error:
            return error_answer(str(error))

    return careful


class PatternAsked(Asked, frozen=True):
    """Which pattern, and on which fit's basis."""

    pattern: str
    fitted: str = ""


class FileAsked(Asked, frozen=True):
    """One file of the folder by name."""

    name: str


class FileWritten(Asked, frozen=True):
    """A file to write into the folder."""

    name: str
    text: str
    over: bool = False


def application(desk: Desk) -> Starlette:
    """All routes over one desk."""

    def posted(path: str, kind: type[Any], pool: Callable[..., Awaitable[Any]],
               work: Callable[[Any], Any]) -> Route:
        """A route that takes a struct and gives what `work` makes of it."""

        @guarded
        async def handler(request: Request) -> Response:
            asked = decode(await request.body(), kind)
            return answer(await pool(lambda: with_remarks(work, asked)))

        return Route(path, handler, methods=["POST"])

    @guarded
    async def at_start(_: Request) -> Response:
        return answer(await desk.files(lambda: start.everything(desk)))

    async def news(_: Request) -> Response:
        return StreamingResponse(desk.news.stream([("ready", desk.standing())]),
                                 media_type="text/event-stream")

    def write(asked: FileWritten) -> Any:
        entry = desk.folder.write(asked.name, asked.text, over=asked.over)
        desk.news.tell("files", start.files(desk))
        return entry

    @asynccontextmanager
    async def life(_: Starlette) -> AsyncIterator[None]:
        desk.start()
        try:
            yield
        finally:
            desk.close()

    async def too_large(_: Request, __: Exception) -> Response:
        return error_answer(TOO_LARGE, 413)

    return Starlette(lifespan=life, exception_handlers={TooLarge: too_large}, routes=[
        Route("/", page, methods=["GET"]),
        Route("/static/{name}", static, methods=["GET"]),
        Route("/api/start", at_start, methods=["GET"]),
        Route("/api/news", news, methods=["GET"]),
        posted("/api/quick", Shot, desk.quick, lambda a: live.quick(desk.nouns, a)),
        posted("/api/shot", Shot, desk.full, lambda a: live.full(desk.nouns, a)),
        posted("/api/pattern", PatternAsked, desk.files,
               lambda a: live.pattern_view(desk.nouns, a.pattern, a.fitted)),
        posted("/api/file/read", FileAsked, desk.files,
               lambda a: {"name": a.name, "text": desk.folder.text(a.name)}),
        posted("/api/file/write", FileWritten, desk.files, write),
    ])


def with_remarks(work: Callable[[Any], Any], asked: Any) -> Any:
    """What `work` gives; a dict also gets the remarks (a ball outside the standard, ..)."""
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        found = work(asked)
    remarks = [str(w.message) for w in caught if issubclass(w.category, UserWarning)]
    if isinstance(found, dict) and remarks:
        return found | {"remarks": list(dict.fromkeys(remarks))}
    return found


async def page(_: Request) -> Response:
    """The page itself."""
    return Response((STATIC / "page.html").read_bytes(), media_type="text/html")


async def static(request: Request) -> Response:
    """One of the page's own files, by a name out of the list of those there are."""
    name = request.path_params["name"]
    known = {path.name: path for path in STATIC.iterdir() if path.suffix in _TYPES}
    if name not in known:
        return error_answer(f"no file '{name[:90]}' here", 404)
    return Response(known[name].read_bytes(), media_type=_TYPES[known[name].suffix])
