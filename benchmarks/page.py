"""How soon the page shows what the hand does: from the event to the redrawn path, in a browser.

Arrow keys and a drag move ball and mark; the page notes for each move that was drawn how long it
took from the event's own time stamp to the end of the drawing. Printed for a machine that does
nothing else, and while a bag job runs; beside them a ratio to the time of one shot by the engine
alone, measured in the same run, for a shared machine's clock is worth little.

    python benchmarks/page.py [--moves 200]
"""

from __future__ import annotations

import argparse
import shutil
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parents[1]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "page")]


def moves(window, count: int) -> list[float]:
    """Times [ms] of so many moves by keys and by the mouse."""
    tab = window.tab
    tab.evaluate("lanesimShown.length = 0")
    tab.focus(".handle.at-arrows")
    for n in range(count // 2):
        tab.keyboard.press("ArrowUp" if n % 20 < 10 else "ArrowDown")
        tab.wait_for_timeout(35)
    box = tab.locator(".handle.at-foul-line").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    tab.mouse.move(x, y)
    tab.mouse.down()
    for n in range(count // 2):
        tab.mouse.move(x, y + 25 * (1 - abs(1 - (n % 40) / 20)))
        tab.wait_for_timeout(16)
    tab.mouse.up()
    tab.wait_for_timeout(500)
    return sorted(tab.evaluate("lanesimShown"))


def told(name: str, times: list[float], engine_ms: float) -> None:
    """One line."""
    middle, most = times[len(times) // 2], times[int(0.95 * (len(times) - 1))]
    print(f"{name:22} {len(times):4} drawn   half within {middle:5.1f} ms   95 % within "
          f"{most:5.1f} ms   {most / engine_ms:5.1f} x the engine's own {engine_ms:.2f} ms")


def main() -> None:
    """Measure and print."""
    from page_window import ARGUMENTS, BROWSER, Page, Window
    from playwright.sync_api import sync_playwright

    from lanesim.catalog import DATA

    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--moves", type=int, default=200)
    count = options.parse_args().moves
    folder = Path(tempfile.mkdtemp()) / "folder"
    folder.mkdir()
    for name in ("demo_event.toml", "demo_event_balls.toml", "demo_player.toml"):
        shutil.copy(DATA / name, folder)
    with Page(folder) as page, sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=BROWSER, args=ARGUMENTS)
        window = Window(browser, page)
        shot = page.json("/api/start")["shot"]
        engine = sorted(page.json("/api/quick", shot)["engine_ms"] for _ in range(40))[20]
        told("alone", moves(window, count), engine)
        asked = {"file": "demo_event.toml", "shots": 4000}
        page.json("/api/study/bag", {"asked": asked})
        while page.json("/api/study/bag", {"asked": asked, "start": False})["done"] < 1:
            time.sleep(0.5)
        told("while a bag job runs", moves(window, count), engine)
        state = page.json("/api/study/bag", {"asked": asked, "start": False})["state"]
        print(f"the job is {state}")
        window.close()
        browser.close()
    shutil.rmtree(folder.parent)


if __name__ == "__main__":
    main()
