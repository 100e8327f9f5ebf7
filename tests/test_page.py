"""The report: nothing from outside, everything escaped, and a real browser shows it all."""

from __future__ import annotations

import re
import shutil
import subprocess
from html.parser import HTMLParser

import pytest
from bag_events import small_event

from lanesim.bag.plan import plan
from lanesim.bag.words import CAUTIONS, drill_list, finish_list, headline, shop_text
from lanesim.cli.bag import write_plan

BROWSER = next((p for p in map(shutil.which, ("chromium", "chromium-browser"))
                if p), None)
PICTURES = {"ladder", "lines", "gains", "pins"}
TABLES = {"bag", "use", "cracks", "bags"}
PROBE = """
<script>
window.addEventListener('load', () => {
  const out = [];
  for (const i of document.images)
    out.push('img ' + i.id + ' ' + i.naturalWidth + ' ' + i.getBoundingClientRect().height);
  for (const t of document.querySelectorAll('table'))
    out.push('table ' + t.id + ' ' + t.tBodies[0].rows.length + ' '
             + t.getBoundingClientRect().height);
  const page = document.documentElement;
  out.push('page ' + page.scrollWidth + ' ' + window.innerWidth);
  for (const w of document.querySelectorAll('.wide, figure')) {
    w.scrollLeft = 1e6;
    const last = w.querySelector('th:last-child, img').getBoundingClientRect();
    out.push('end ' + last.right + ' ' + w.getBoundingClientRect().right);
  }
  const p = document.createElement('pre');
  p.id = 'probe';
  p.textContent = out.join('\\n') + '\\nrequests '
    + performance.getEntriesByType('resource').filter(r => !r.name.startsWith('data:')).length;
  document.body.append(p);
});
</script>
"""


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("report")
    found = plan(small_event(folder), shots=128, resamples=10)
    write_plan(found, folder / "out")
    return found, folder / "out"


class Reader(HTMLParser):
    """Collects what a page refers to, and checks that tags are closed."""

    VOID = ("meta", "img", "br", "link", "input")

    def __init__(self):
        super().__init__()
        self.refers, self.open, self.text = [], [], []

    def handle_starttag(self, tag, attrs):
        self.refers += [v for k, v in attrs if k in ("src", "href", "action", "data", "poster")]
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.text.append(data)


def test_the_page_is_whole_and_refers_to_nothing_outside(made):
    text = (made[1] / "report.html").read_text()
    reader = Reader()
    reader.feed(text)
    assert reader.open == []
    assert len(reader.refers) == len(PICTURES)
    assert all(r.startswith("data:image/png;base64,") for r in reader.refers)
    assert not re.search(r"https?:|//\w|@import|url\(", re.sub(r"base64,[^\"]*", "", text))
    assert "<script" not in text


def test_names_from_files_are_escaped(made):
    text = (made[1] / "report.html").read_text()
    assert "Evening &lt;league&gt; &amp; friends" in text and "<league>" not in text


def test_the_page_says_what_the_plan_says(made):
    found, folder = made
    reader = Reader()
    reader.feed((folder / "report.html").read_text())
    text = " ".join("".join(reader.text).split())
    assert headline(found) in text
    for advice in found.advice:
        assert f"{advice.pins:.1f}" in text and advice.ball in text
    for caution in CAUTIONS:
        assert " ".join(caution.split()) in text
    for item in drill_list(found) + finish_list(found):
        assert item in text and item in shop_text(found)


@pytest.mark.skipif(BROWSER is None, reason="no chromium here to open the report in "
                                            "(Debian: apt-get install chromium)")
@pytest.mark.parametrize("width", [1280, 390])
def test_a_browser_shows_tables_and_pictures(made, tmp_path, width):
    """Wide and as narrow as a telephone: all is there, and every column can be reached."""
    found, folder = made
    page = tmp_path / "probed.html"
    page.write_text((folder / "report.html").read_text().replace("</body>", PROBE + "</body>"))
    done = subprocess.run(
        [BROWSER, "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic",
         "--no-first-run", "--disable-background-networking", "--disable-component-update",
         "--disable-sync", "--disable-dev-shm-usage", "--host-resolver-rules=MAP * ~NOTFOUND",
         f"--window-size={width},900",
         f"--user-data-dir={tmp_path / 'browser'}", "--virtual-time-budget=5000", "--dump-dom",
         page.as_uri()],
        capture_output=True, text=True, timeout=120, check=True,
    )
    probe = re.search(r'<pre id="probe">(.*?)</pre>', done.stdout, re.S)
    assert probe, done.stderr[-2000:]
    lines = [line.split() for line in probe[1].splitlines()]
    pictures = {w[1]: w for w in lines if w[0] == "img"}
    assert set(pictures) == PICTURES
    assert all(int(w[2]) > 500 and float(w[3]) > 100 for w in pictures.values()), pictures
    tables = {w[1]: w for w in lines if w[0] == "table"}
    assert set(tables) == TABLES and all(float(w[3]) > 30 for w in tables.values())
    assert int(tables["bag"][2]) == len(found.balls)
    assert int(tables["use"][2]) == len(found.conditions)
    assert int(tables["bags"][2]) == len(found.choices)
    assert ["requests", "0"] in lines
    (page_size,) = [w for w in lines if w[0] == "page"]
    assert float(page_size[1]) <= float(page_size[2]) + 1  # the page itself does not scroll aside
    ends = [w for w in lines if w[0] == "end"]
    assert len(ends) == len(PICTURES) + len(TABLES)
    assert all(float(w[1]) <= float(w[2]) + 1 for w in ends), ends


def test_the_first_screen_says_what_to_do(made):
    found, folder = made
    text = (folder / "report.html").read_text()
    sheet = text[text.index('class="sheet"'):text.index("<figure")]
    for ball in found.best.drilled:
        assert ball in sheet
    assert "What could be wrong" in sheet and f"in {found.still_best} of 10" in sheet
    assert sheet.count("laid down on board") == len(found.advice)
    assert "prefers-color-scheme: dark" in text and "@page" in text
    assert text.count('scope="col"') > 20 and text.count("<caption>") == len(TABLES)
