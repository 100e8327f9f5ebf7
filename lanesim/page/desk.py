"""What the routes share: the folder, the nouns, the live engine's threads, the jobs, the news.

News (a job's progress, a changed file, the engine getting ready) go to every open window as
server-sent events.
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable
from concurrent.futures import Future, ThreadPoolExecutor
from typing import Any, TypeVar

from . import live
from .folder import Folder
from .jobs import Jobs
from .nouns import Nouns
from .results import Results
from .wire import Shot, encode

T = TypeVar("T")
_MAX_WINDOWS = 32
_WAITING_NEWS = 200  # news kept for a window that does not read; it is sent away beyond that

# The shot that a page without an address starts with: the commands' own defaults,
# with the board at the arrows that their launch angle goes over.
FIRST_SHOT = Shot(ball="strong-solid", pattern="medium-42", speed_mph=18.6, rev_rpm=436.0,
                  rotation_deg=45.0, tilt_deg=15.0, laydown_board=24.0, target_board=17.4)


class News:
    """Hands news to every open window. `tell` may be called from any thread."""

    def __init__(self) -> None:
        self._loop: asyncio.AbstractEventLoop | None = None
        self._windows: set[asyncio.Queue[bytes | None]] = set()

    def start(self) -> None:
        """To be called on the server's own loop."""
        self._loop = asyncio.get_running_loop()

    def tell(self, kind: str, what: Any) -> None:
        """Send one piece of news to all windows."""
        if self._loop is None or self._loop.is_closed():
            return
        text = b"event: " + kind.encode() + b"\ndata: " + encode(what) + b"\n\n"
        self._loop.call_soon_threadsafe(self._hand_out, text)

    def _hand_out(self, text: bytes | None) -> None:
        for window in list(self._windows):
            if window.qsize() >= _WAITING_NEWS:
                window.put_nowait(None)
                self._windows.discard(window)
            else:
                window.put_nowait(text)

    def end(self) -> None:
        """Let all windows go."""
        if self._loop is not None and not self._loop.is_closed():
            self._loop.call_soon_threadsafe(self._hand_out, None)

    async def stream(self, first: list[tuple[str, Any]]) -> AsyncIterator[bytes]:
        """The news of one window, `first` first; a sign of life every 15 s."""
        if len(self._windows) >= _MAX_WINDOWS:
            return
        window: asyncio.Queue[bytes | None] = asyncio.Queue()
        self._windows.add(window)
        try:
            for kind, what in first:
                yield b"event: " + kind.encode() + b"\ndata: " + encode(what) + b"\n\n"
            while True:
                try:
                    text = await asyncio.wait_for(window.get(), 15.0)
                except TimeoutError:
                    text = b": still here\n\n"
                if text is None:
                    return
                yield text
        finally:
            self._windows.discard(window)


class Desk:
    """The state of one running page."""

    def __init__(self, folder: Folder) -> None:
        self.folder = folder
        self.nouns = Nouns(folder)
        self.news = News()
        self.results = Results(folder)
        self.jobs = Jobs(self.results, self.news.tell)
        self.ready = False
        self.problem = ""
        # One thread each: shots come one after the other, and what follows the hand never waits
        # for a whole shot.
        self._quick = ThreadPoolExecutor(1, "quick")
        self._full = ThreadPoolExecutor(1, "full")
        self._files = ThreadPoolExecutor(2, "files")
        self._warm: Future[None] | None = None

    def start(self) -> None:
        """Begin to get the engine ready; called on the server's loop."""
        self.news.start()
        self._warm = self._full.submit(self._get_ready)

    def _get_ready(self) -> None:
        try:
            live.warm(self.nouns, FIRST_SHOT)
        except Exception as error:
            self.problem = f"the engine did not start: {error}"
        self.ready = not self.problem
        self.news.tell("ready", self.standing())

    def standing(self) -> dict[str, Any]:
        """Whether the engine is ready."""
        return {"ready": self.ready, "problem": self.problem}

    async def quick(self, work: Callable[[], T]) -> T:
        """Do what follows the hand."""
        if not self.ready and self._warm is not None:
            await asyncio.wrap_future(self._warm)
        return await asyncio.get_running_loop().run_in_executor(self._quick, work)

    async def full(self, work: Callable[[], T]) -> T:
        """Do what may take some tenths of a second."""
        return await asyncio.get_running_loop().run_in_executor(self._full, work)

    async def files(self, work: Callable[[], T]) -> T:
        """Do what reads or writes the folder."""
        return await asyncio.get_running_loop().run_in_executor(self._files, work)

    def close(self) -> None:
        """Let everything go; nothing half-written stays, for files are moved into place."""
        self.news.end()
        self.jobs.close()
        for pool in (self._quick, self._full):
            pool.shutdown(wait=False, cancel_futures=True)
        self._files.shutdown(wait=True)
