"""A process that answers long questions, one after the other: a line of JSON in, lines out.

In: {"id", "study", "asked"}. Out: progress, parts of an answer that can be shown already, and at
last done or the mistake in one line. The answer itself is written to the kept results.
"""

from __future__ import annotations

import os
import sys
import threading
import time
import warnings
from collections.abc import Callable
from queue import Queue
from typing import Any

import msgspec

from ..errors import InputError
from .folder import Folder
from .nouns import Nouns
from .results import Results
from .studies import STUDIES, Teller
from .wire import encode

NICENESS = 5
_EVERY_S = 0.1


def main(folder: str) -> None:
    """Answer until the input ends; then the one who asked is gone, and so are we."""
    if hasattr(os, "nice"):
        os.nice(NICENESS)
    # what a library prints must not get between the lines
    out, sys.stdout = os.fdopen(os.dup(1), "wb", buffering=0), sys.stderr
    lock = threading.Lock()

    def say(what: dict[str, Any]) -> None:
        with lock:
            out.write(encode(what) + b"\n")

    questions: Queue[bytes] = Queue()
    threading.Thread(target=_listen, args=(questions,), daemon=True).start()
    held = Folder(folder)
    nouns, results = Nouns(held), Results(held)
    while True:
        answer(msgspec.json.decode(questions.get()), nouns, results, say)


def _listen(questions: Queue[bytes]) -> None:
    for line in sys.stdin.buffer:
        questions.put(line)
    os._exit(0)  # in the middle of whatever it is: files are moved into place when whole


def answer(question: dict[str, Any], nouns: Nouns, results: Results,
           say: Callable[[dict[str, Any]], None]) -> None:
    """Answer one question and keep the result."""
    key = question["id"]
    told = 0.0

    def progress(done: float, total: float | None = None, words: str = "") -> None:
        nonlocal told
        now = time.monotonic()
        if now - told > _EVERY_S or done == total:
            told = now
            say({"kind": "progress", "id": key, "done": float(done), "total": float(total or 0),
                 "words": words})

    teller = Teller(progress, lambda part: say({"kind": "part", "id": key, "part": part}))
    study = STUDIES[question["study"]]
    try:
        with warnings.catch_warnings(record=True) as caught:
            warnings.simplefilter("always")
            asked = msgspec.convert(question["asked"], study.asks)
            found = study.work(asked, nouns, teller)
        remarks = [str(w.message) for w in caught if issubclass(w.category, UserWarning)]
        found.remarks.extend(dict.fromkeys(remarks))
        results.keep(key, found.to_dict(), found.svg, found.report)
    except InputError as error:
        text = nouns.folder.plain(" ".join(str(error).split()))
        say({"kind": "done", "id": key, "error": text})
    except Exception as error:
        say({"kind": "done", "id": key, "error": f"this went wrong: {type(error).__name__}: "
                                                 f"{error}"})
    else:
        say({"kind": "done", "id": key, "error": ""})
