"""Long questions: each is answered in a process of its own, at lower priority than the hand.

Two processes are started when first needed: one for questions of seconds, one for those of minutes,
so that a map need not wait for a bag. To stop a job is to end its process; a new one starts with
the next question.
"""

from __future__ import annotations

import os
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import msgspec

from ..errors import InputError
from .results import Results
from .wire import encode

MOST_WAITING = 30
_TELL_EVERY_S = 0.2
LANES = ("short", "long")


class Job:
    """One question on its way: what, how far, and how it ended."""

    def __init__(self, key: str, study: str, asked: Any) -> None:
        self.key, self.study, self.asked = key, study, asked
        self.state = "waiting"  # running, done, stopped, failed
        self.done = self.total = 0.0
        self.words = self.error = ""
        self.started = 0.0
        self.parts: list[Any] = []
        self.told = 0.0

    def view(self) -> dict[str, Any]:
        """What a window shows of it."""
        left = None
        if self.state == "running" and 0 < self.done < self.total:
            left = (time.monotonic() - self.started) * (self.total - self.done) / self.done
        return {"id": self.key, "study": self.study, "asked": self.asked, "state": self.state,
                "done": self.done, "total": self.total, "words": self.words, "left_s": left,
                "error": self.error}


class _Hand:
    """A working process and the jobs that wait for it."""

    def __init__(self) -> None:
        self.waiting: list[Job] = []
        self.current: Job | None = None
        self.process: subprocess.Popen[bytes] | None = None


class Jobs:
    """Starts, follows and stops jobs. `tell(kind, what)` hands news to the windows."""

    def __init__(self, results: Results, tell: Callable[[str, Any], None]) -> None:
        self.results = results
        self.tell = tell
        self.jobs: dict[str, Job] = {}
        self._hands = {lane: _Hand() for lane in LANES}
        self._lock = threading.RLock()
        self._closed = False

    def ask(self, study: str, asked: Any, *, start: bool, lane: str) -> dict[str, Any]:
        """The job of a question: found done, found on its way, or started if `start`."""
        key = self.results.key(study, asked)
        with self._lock:
            job = self.jobs.get(key)
            if self.results.path(key, ".json") is not None:
                if job is None or job.state != "done":
                    job = self.jobs[key] = Job(key, study, asked)
                    job.state = "done"
                return job.view()
            if job is not None and job.state in {"waiting", "running"}:
                return job.view() | {"parts": job.parts}
            if not start:
                return (job or Job(key, study, asked)).view() | (
                    {"state": "none"} if job is None or job.state == "done" else {})
            hand = self._hands[lane]
            if len(hand.waiting) >= MOST_WAITING:
                raise InputError(f"{MOST_WAITING} questions are waiting already; stop one first")
            job = self.jobs[key] = Job(key, study, asked)
            hand.waiting.append(job)
            self._next(hand)
            self.tell("job", job.view())
            return job.view()

    def stop(self, key: str) -> dict[str, Any]:
        """Stop a job, on its way or waiting."""
        with self._lock:
            job = self.jobs.get(key)
            if job is None:
                raise InputError("this job is not known any more")
            for hand in self._hands.values():
                if job in hand.waiting:
                    hand.waiting.remove(job)
                    self._ended(job, "stopped")
                elif hand.current is job:
                    _end(hand.process)
                    hand.process = hand.current = None
                    self._ended(job, "stopped")
                    self._next(hand)
            return job.view()

    def list(self) -> list[dict[str, Any]]:
        """All jobs on their way."""
        with self._lock:
            return [job.view() for job in self.jobs.values()
                    if job.state in {"waiting", "running"}]

    def close(self) -> None:
        """End all processes."""
        with self._lock:
            self._closed = True
            for hand in self._hands.values():
                hand.waiting.clear()
                _end(hand.process)

    # --- the processes ---------------------------------------------------------------------

    def _next(self, hand: _Hand) -> None:
        if self._closed or hand.current is not None or not hand.waiting:
            return
        if hand.process is None or hand.process.poll() is not None:
            hand.process = _start(self.results.folder.root)
            threading.Thread(target=self._follow, args=(hand, hand.process), daemon=True).start()
        job = hand.current = hand.waiting.pop(0)
        job.state, job.started = "running", time.monotonic()
        line = encode({"id": job.key, "study": job.study,
                       "asked": msgspec.to_builtins(job.asked)})
        try:
            assert hand.process.stdin is not None
            hand.process.stdin.write(line + b"\n")
            hand.process.stdin.flush()
        except OSError:
            pass  # `_follow` sees that the process has ended and says so
        self.tell("job", job.view())

    def _follow(self, hand: _Hand, process: subprocess.Popen[bytes]) -> None:
        """Read what a process says until it ends."""
        assert process.stdout is not None
        for line in process.stdout:
            try:
                said = msgspec.json.decode(line)
            except msgspec.DecodeError:
                continue
            with self._lock:
                job = hand.current
                if hand.process is process and job is not None and said.get("id") == job.key:
                    self._hear(hand, job, said)
        process.wait()
        with self._lock:
            if hand.process is process:
                hand.process = None
                job, hand.current = hand.current, None
                if job is not None:
                    job.error = "the computation ended by itself; is there enough memory?"
                    self._ended(job, "failed")
                self._next(hand)

    def _hear(self, hand: _Hand, job: Job, said: dict[str, Any]) -> None:
        kind = said["kind"]
        if kind == "part":
            job.parts.append(said["part"])
            self.tell("part", {"id": job.key, "part": said["part"]})
            return
        if kind == "progress":
            job.done, job.total = float(said["done"]), float(said["total"] or 0.0)
            job.words = said.get("words") or job.words
            now = time.monotonic()
            if now - job.told > _TELL_EVERY_S:
                job.told = now
                self.tell("job", job.view())
            return
        job.error = said.get("error", "")
        hand.current = None
        self._ended(job, "failed" if job.error else "done")
        self._next(hand)

    def _ended(self, job: Job, state: str) -> None:
        job.state = state
        job.parts = []
        self.tell("job", job.view())


def _start(folder: Path) -> subprocess.Popen[bytes]:
    """A working process: the very package that runs here, away from Ctrl-C, at low priority."""
    root = str(Path(__file__).parents[2])
    code = (f"import sys; sys.path.insert(0, {root!r}); "
            f"from lanesim.page.worker import main; main({str(folder)!r})")
    options: dict[str, Any] = {"start_new_session": True}
    if sys.platform == "win32":
        options = {"creationflags": subprocess.BELOW_NORMAL_PRIORITY_CLASS
                   | subprocess.CREATE_NEW_PROCESS_GROUP}
    return subprocess.Popen([sys.executable, "-c", code], stdin=subprocess.PIPE,
                            stdout=subprocess.PIPE, cwd=folder,
                            env=os.environ | {"PYTHONUNBUFFERED": "1"}, **options)


def _end(process: subprocess.Popen[bytes] | None) -> None:
    if process is not None and process.poll() is None:
        process.kill()
