"""Fixtures of the page's tests: one running page, one browser, a fresh window a test."""

from __future__ import annotations

import pytest
from page_window import ARGUMENTS, BROWSER, Page, Window


@pytest.fixture(scope="session")
def served(tmp_path_factory):
    """A page over an empty folder; its engine is ready."""
    with Page(tmp_path_factory.mktemp("page") / "folder") as page:
        yield page


@pytest.fixture(scope="session")
def chromium():
    """One browser for all tests."""
    if BROWSER is None:
        pytest.skip("no chromium here to open the page in (Debian: apt-get install chromium)")
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    with playwright.sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=BROWSER, args=ARGUMENTS)
        yield browser
        browser.close()


@pytest.fixture
def window(chromium, served):
    """A fresh window."""
    opened = Window(chromium, served)
    yield opened
    opened.close()
