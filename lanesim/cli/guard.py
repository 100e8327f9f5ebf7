"""What stands between a command and the machine: streams, signals, and errors in one line.

Every way for a command to end has its own code: 0 done, 2 something the user gave is wrong or
cannot be done on this machine, 1 nobody reads the output any more, 70 a fault of ours (told in
one line; LANESIM_TRACE=1 shows where), 128 + n stopped by signal n.
"""

from __future__ import annotations

import contextlib
import errno
import os
import signal
import sys
import threading
import time
import warnings
from collections.abc import Callable
from typing import Any, NoReturn

import click

from ..errors import InputError, InputWarning, shown

LONGEST = 300  # characters of an error's line
READER_GONE, WRONG, OUR_FAULT = 1, 2, 70
TRACE = "LANESIM_TRACE"
STOPPED = "lanesim: stopped; nothing half-written"
GRACE_S = 0.6  # between a signal and the end of the process, whatever is being done

_said_stopped = False
_own_process = False  # whether this is the process of the script, ours to end


class Stopped(KeyboardInterrupt):
    """A signal asked the command to stop."""

    def __init__(self, number: int = signal.SIGINT) -> None:
        super().__init__(number)
        self.number = int(number)


def run(command: Callable[[], Any]) -> NoReturn:
    """Run a command and leave the process: every error is one line on standard error."""
    with warnings.catch_warnings():
        warnings.simplefilter("always", InputWarning)
        warnings.showwarning = _note_once(warnings.showwarning)
        try:
            code = command()
            sys.stdout.flush()  # a full disk is told now and not at shutdown
        except InputError as error:
            fail(str(error))
        except click.ClickException as error:
            fail(error.format_message())
        except (click.Abort, KeyboardInterrupt) as stopped:
            # click makes an Abort of an interrupt, after an empty line (below a terminal's ^C)
            stop(getattr(stopped.__cause__ or stopped, "number", signal.SIGINT))
        except BrokenPipeError:
            _silence()
            sys.exit(READER_GONE)
        except OSError as error:
            if error.filename is None and error.errno in _OUTPUT_ERRORS:
                _silence()
            fail(_os_words(error))
        except MemoryError:
            fail("not enough memory for this; take fewer shots or a smaller grid")
        except Exception as error:
            if os.environ.get(TRACE):
                raise
            fail(f"a fault of lanesim's own: {type(error).__name__}: {error} ({TRACE}=1 in the "
                 "environment shows where)", OUR_FAULT)
    sys.exit(code if isinstance(code, int) else 0)


def fail(message: str, code: int = WRONG) -> NoReturn:
    """One line on standard error, and out."""
    _say(f"lanesim: {one_line(message)}")
    sys.exit(code)


def stop(number: int) -> NoReturn:
    """Say that a signal stopped the command, and leave with the code that a shell expects.

    The process of the script leaves at once: what had to be put away was, on the way up to here,
    and the interpreter's own clearing up can take a second after compiling.
    """
    global _said_stopped
    if not _said_stopped:
        _said_stopped = True
        _say(STOPPED)
    if _own_process:
        for stream in (sys.stdout, sys.stderr):
            with contextlib.suppress(OSError, ValueError):
                stream.flush()
        os._exit(128 + int(number))
    sys.exit(128 + int(number))


def one_line(text: str) -> str:
    """An error as one printable line of at most 300 characters, cut in the middle if need be."""
    line = shown(" ".join(text.split()))
    if len(line) <= LONGEST:
        return line
    tail = LONGEST // 3
    return f"{line[: LONGEST - tail - 5]} ... {line[-tail:]}"


def _say(line: str) -> None:
    with contextlib.suppress(OSError):  # standard error may be full or gone: the code remains
        click.echo(line, err=True)


# Of files these come with the name (files.py); without one it is standard output.
_OUTPUT_ERRORS = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO, errno.EBADF)


def _os_words(error: OSError) -> str:
    where = error.filename
    if where is None and error.errno in _OUTPUT_ERRORS:
        where = "cannot write standard output"
    return f"{where}: {error.strerror or error}" if where else str(error.strerror or error)


def _silence() -> None:
    """Standard output to nowhere: what is buffered must not fail once more at shutdown."""
    with contextlib.suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _note_once(otherwise: Any) -> Any:
    """A warnings.showwarning that prints each InputWarning once, as one line 'note: ...'."""
    said: set[str] = set()

    def show(message: Any, category: type[Warning], *rest: Any, **named: Any) -> None:
        text = _note(str(message), category)
        if text is None:
            otherwise(message, category, *rest, **named)
        elif text not in said:
            said.add(text)
            click.echo(f"note: {text}", err=True)

    return show


def _note(message: str, category: type[Warning]) -> str | None:
    if issubclass(category, InputWarning):
        return one_line(message)
    if message.startswith("Glyph ") and " missing from " in message:  # matplotlib, while drawing
        return "the font of the pictures lacks a sign of a name or title; a box stands for it"
    return None


# --- the process ---------------------------------------------------------------------------


def prepare_process() -> None:
    """Make streams and signals safe; for the process of the `lanesim` script, before anything."""
    global _own_process
    _own_process = True
    _prepare_streams()
    for name in ("SIGTERM", "SIGHUP", "SIGINT"):
        number = getattr(signal, name, None)
        if number is not None and signal.getsignal(number) is not signal.SIG_IGN:
            signal.signal(number, _raise_stopped)
    if os.name == "posix":
        _watch_signals()


def _prepare_streams() -> None:
    """No file may get the number of a closed stream; no letter may fail for its encoding."""
    closed = []
    for number in (0, 1, 2):
        try:
            os.fstat(number)
        except OSError:
            closed.append(number)
            nowhere = os.open(os.devnull, os.O_RDWR)
            if nowhere != number:
                os.dup2(nowhere, number)
                os.close(nowhere)
    if sys.stderr is None:
        sys.stderr = open(2, "w", closefd=False)  # noqa: SIM115 (a stream for good)
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")
    if sys.stdout is None or 1 in closed:
        sys.stdout = open(1, "w", closefd=False)  # noqa: SIM115
        fail("standard output is closed; send it to a file or to the null device")


def _raise_stopped(number: int, _frame: Any) -> NoReturn:
    raise Stopped(number)


def _watch_signals() -> None:
    """End the process soon after a signal even if the interrupt is swallowed or C code runs on.

    Python raises an interrupt only between two steps of its own in the main thread; compiling and
    libraries may keep that for seconds, and a library may catch it. The number of a signal is also
    written to a pipe at once (signal.set_wakeup_fd), where a thread waits for it.
    """
    read, write = os.pipe()
    os.set_blocking(write, False)
    signal.set_wakeup_fd(write, warn_on_full_buffer=False)
    threading.Thread(target=_wait_for_signal, args=(read,), daemon=True, name="signals").start()


def _wait_for_signal(read: int) -> None:
    from ..files import drop_unfinished

    ours = {signal.SIGINT, signal.SIGTERM, signal.SIGHUP}
    while (number := os.read(read, 1)[0]) not in ours:
        pass
    time.sleep(GRACE_S)
    drop_unfinished()
    if not _said_stopped:
        os.write(2, f"{STOPPED}\n".encode())
    os._exit(128 + number)
