"""A running page, a browser, and ways to ask the page for what a test wants to know."""

from __future__ import annotations

import json
import os
import re
import shutil
import signal
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path

from click.testing import CliRunner

from lanesim.cli import cli

ROOT = Path(__file__).parents[2]
BROWSER = next((p for p in map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))
                if p), None)
ARGUMENTS = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
             "--disable-background-networking", "--disable-component-update", "--disable-sync",
             "--disable-dev-shm-usage"]
ENVIRONMENT = os.environ | {"PYTHONPATH": str(ROOT), "BROWSER": "true"}


class Page:
    """A `lanesim page` in a process of its own."""

    def __init__(self, folder: Path):
        self.folder = folder
        self.process = subprocess.Popen(
            [sys.executable, "-m", "lanesim.cli", "page", str(folder), "--no-browser"],
            stderr=subprocess.PIPE, stdout=subprocess.DEVNULL, text=True, env=ENVIRONMENT,
            cwd=folder.parent)
        line = self.process.stderr.readline()
        assert "http://127.0.0.1:" in line, line
        self.address = line.split()[-1]
        self.base, _, self.token = self.address.partition("/?token=")
        self.port = int(self.base.rpartition(":")[2])
        self.cookie = f"lanesim-{self.port}={self.token}"

    def ask(self, path, body=None, *, method=None, headers=None, raw=None):
        """Status, headers and text of a request; as the page itself would send it, but `headers`
        (None: leave one out)."""
        data = raw if raw is not None else None if body is None else json.dumps(body).encode()
        sent = {"Cookie": self.cookie}
        if data is not None:
            sent |= {"Origin": self.base, "Content-Type": "application/json"}
        sent |= headers or {}
        request = urllib.request.Request(self.base + path, data=data, method=method,
                                         headers={k: v for k, v in sent.items() if v is not None})
        try:
            with urllib.request.build_opener(_Stay).open(request, timeout=280) as found:
                return found.status, dict(found.headers), found.read().decode()
        except urllib.error.HTTPError as error:
            return error.code, dict(error.headers), error.read().decode()

    def json(self, path, body=None):
        """The answer to what the page itself asks."""
        status, _, text = self.ask(path, body)
        assert status == 200, text
        return json.loads(text)

    def __enter__(self):
        """Wait until its engine is ready: the first time it compiles."""
        try:
            self.json("/api/quick", self.json("/api/start")["shot"])
        except BaseException:
            self.process.kill()
            raise
        return self

    def __exit__(self, *_):
        try:
            self.stop()
        finally:
            self.process.kill()

    def stop(self, with_signal=signal.SIGINT, within=10.0):
        """End it as Ctrl-C does; the exit status."""
        if self.process.poll() is None:
            self.process.send_signal(with_signal)
        return self.process.wait(within)


class _Stay(urllib.request.HTTPRedirectHandler):
    def redirect_request(self, *args, **kwargs):
        return None


class Window:
    """A window with the page open; what went wrong in it and what it asked for is noted."""

    def __init__(self, browser, page: Page, view: str = "", *, thrown: bool = True, **options):
        """thrown: wait for the shot; not where the view asks for one that cannot be."""
        self.served = page
        self.context = browser.new_context(**({"viewport": {"width": 1280, "height": 900}}
                                              | options))
        self.problems, self.requests = [], []
        self.tab = self.open(page.address)
        if view:
            self.tab.goto(page.base + "/#" + view)
            self.tab.reload()
        if thrown:
            self.ready()

    def open(self, address):
        """Another tab of the same browser."""
        tab = self.context.new_page()
        tab.on("pageerror", lambda e: self.problems.append(str(e)))
        tab.on("console", lambda m: self.problems.append(m.text) if m.type == "error"
               and "422" not in m.text else None)
        tab.on("request", lambda r: self.requests.append(r.url))
        tab.goto(address)
        return tab

    def ready(self):
        """Wait until the shot has been thrown in full."""
        self.until(lambda: self.state("s.full && s.full.outcome"))

    def until(self, met, within=30.0, what=""):
        """Wait until `met()` gives something true; that."""
        end = time.monotonic() + within
        while not (found := met()):
            assert time.monotonic() < end, f"never came: {what}; {self.problems}"
            self.tab.wait_for_timeout(40)
        return found

    def state(self, expression):
        """Something of the page's own state `s`."""
        return self.tab.evaluate(
            "async () => { const {state: s} = await import('/static/state.js');"
            f" return {expression}; }}")

    def close(self):
        """Close it; nothing may have gone wrong in it."""
        self.context.close()
        assert self.problems == []


def throw_command(shot):
    """What `lanesim throw --json` says of a shot as the page has it."""
    args = ["throw", "--json", "--ball", shot["ball"], "--pattern", shot["pattern"],
            "--speed", shot["speed_mph"], "--revs", shot["rev_rpm"],
            "--rotation", shot["rotation_deg"], "--tilt", shot["tilt_deg"],
            "--laydown", shot["laydown_board"], "--target", shot["target_board"],
            "--hand", shot.get("hand") or "right"]
    if shot.get("finish"):
        args += ["--finish", shot["finish"]]
    if shot.get("layout"):
        drilling, pin, val = re.findall(r"[\d.]+", shot["layout"])
        args += ["--drilling", drilling, "--pin", pin, "--val", val]
    return command(*args)


def command(*words):
    """A command's JSON."""
    done = CliRunner().invoke(cli, [str(w) for w in words], prog_name="lanesim")
    assert done.exit_code == 0, done.output
    return json.loads(done.stdout)


def axe_source():
    """The accessibility checker's own script, as its package ships it."""
    import pytest

    package = pytest.importorskip("axe_playwright_python",
                                  reason="axe-playwright-python is not installed")
    return next(Path(package.__file__).parent.rglob("axe.min.js")).read_text(encoding="utf-8")
