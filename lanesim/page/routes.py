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

import msgspec
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import Response, StreamingResponse
from starlette.routing import Route

from ..errors import InputError
from . import forms, live, spares, start, studies
from .desk import Desk
from .guard import DOCUMENT_POLICY, TOO_LARGE, TooLarge
from .schema import schema
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


class PatternAsked(Asked, frozen=True, kw_only=True):
    """Which pattern, and on which fit's basis."""

    pattern: str
    fitted: str = ""


class FileAsked(Asked, frozen=True, kw_only=True):
    """One file of the folder by name."""

    name: str


class FileWritten(Asked, frozen=True, kw_only=True):
    """A file to write into the folder."""

    name: str
    text: str
    over: bool = False


class JobAsked(Asked, frozen=True, kw_only=True):
    """Which job."""

    id: str


class StudyAsked(Asked, frozen=True, kw_only=True):
    """A question to a study; start false: only look whether it is answered or on its way."""

    asked: msgspec.Raw
    start: bool = True


def application(desk: Desk) -> Starlette:
    """All routes over one desk."""

    taken: dict[str, type[Any]] = {}

    def posted(path: str, kind: type[Any], pool: Callable[..., Awaitable[Any]],
               work: Callable[[Any], Any]) -> Route:
        """A route that takes a struct and gives what `work` makes of it."""
        taken[path] = kind

        @guarded
        async def handler(request: Request) -> Response:
            asked = decode(await request.body(), kind)
            return answer(await pool(lambda: with_remarks(work, asked)))

        return Route(path, handler, methods=["POST"])

    @guarded
    async def at_start(_: Request) -> Response:
        return answer(await desk.files(lambda: start.everything(desk)))

    async def described(_: Request) -> Response:
        return answer(schema(taken))

    async def news(_: Request) -> Response:
        first = [("ready", desk.standing()), ("jobs", desk.jobs.list())]
        return StreamingResponse(desk.news.stream(first),
                                 media_type="text/event-stream")

    def with_news(work: Callable[[Any], Any]) -> Callable[[Any], Any]:
        """What `work` does, and every window told what lies in the folder then."""

        def done(asked: Any) -> Any:
            found = work(asked)
            desk.news.tell("files", start.files(desk))
            return found

        return done

    @guarded
    async def ask(request: Request) -> Response:
        name = request.path_params["name"]
        study = studies.study_named(name)
        given = decode(await request.body(), StudyAsked)
        asked = decode(bytes(given.asked), study.asks)
        return answer(await desk.files(lambda: desk.jobs.ask(
            name, asked, start=given.start, lane=study.lane)))

    def kept(ending: str, kind: str) -> Callable[[Request], Awaitable[Response]]:
        """A route that gives a kept file of a result: a document that runs nothing."""

        async def handler(request: Request) -> Response:
            number = request.path_params.get("number")
            tail = ending if number is None else f"-{number}{ending}"
            path = desk.results.path(request.path_params["key"], tail)
            if path is None:
                return error_answer("this result is not kept any more", 404)
            return Response(path.read_bytes(), media_type=kind,
                            headers={"content-security-policy": DOCUMENT_POLICY})

        return handler

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
        Route("/api", described, methods=["GET"]),
        Route("/api/start", at_start, methods=["GET"]),
        Route("/api/news", news, methods=["GET"]),
        posted("/api/quick", Shot, desk.quick, lambda a: live.quick(desk.nouns, a)),
        posted("/api/shot", Shot, desk.full, lambda a: live.full(desk.nouns, a)),
        posted("/api/pattern", PatternAsked, desk.files,
               lambda a: live.pattern_view(desk.nouns, a.pattern, a.fitted)),
        posted("/api/corridor", studies.CorridorAsked, desk.quick,
               lambda a: studies.corridor(a, desk.nouns)),
        posted("/api/spares", spares.SparesAsked, desk.full,
               lambda a: spares.spare(a, desk.nouns)),
        Route("/api/study/{name}", ask, methods=["POST"]),
        posted("/api/stop", JobAsked, desk.files, lambda a: desk.jobs.stop(a.id)),
        Route("/api/result/{key}", kept(".json", "application/json"), methods=["GET"]),
        Route("/api/picture/{key}/{number:int}", kept(".svg", "image/svg+xml"), methods=["GET"]),
        Route("/api/report/{key}", kept(".html", "text/html"), methods=["GET"]),
        posted("/api/file/read", FileAsked, desk.files,
               lambda a: {"name": a.name, "text": desk.folder.text(a.name)}),
        posted("/api/file/write", FileWritten, desk.files, with_news(
            lambda a: desk.folder.write(a.name, a.text, over=a.over))),
        posted("/api/form/read", forms.FormAsked, desk.files,
               lambda a: forms.read(desk.folder, a)),
        posted("/api/form/write", forms.FormWritten, desk.files, with_news(
            lambda a: forms.write(desk.folder, a))),
        posted("/api/example", Asked, desk.files, with_news(
            lambda _: forms.copy_example(desk.folder))),
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
