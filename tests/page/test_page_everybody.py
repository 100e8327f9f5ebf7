"""The page for everybody: small screens, keyboard alone, screen readers, dark, paper."""

from __future__ import annotations

import pytest
from page_window import Window, axe_source

QUESTIONS = ("shot", "compare", "stand", "shots", "games", "spares", "bag")
NARROW = {"viewport": {"width": 390, "height": 844}, "has_touch": True}


@pytest.fixture
def opened(chromium, served):
    made = []

    def one(view="", **options):
        made.append(Window(chromium, served, view, **options))
        return made[-1]

    yield one
    for each in made:
        each.close()


def ask(window, question):
    window.tab.evaluate("(q) => { location.hash = '#q=' + q; }", question)
    window.until(lambda: window.tab.evaluate("document.body.dataset.question") == question,
                 what=question)
    window.ready()


def test_every_question_fits_a_small_screen(opened):
    window = opened(**NARROW)
    for question in QUESTIONS:
        ask(window, question)
        wide = window.tab.evaluate("""() => [document.documentElement.scrollWidth, innerWidth,
          [...document.querySelectorAll('body *')].filter((e) => {
            const box = e.getBoundingClientRect();
            if (!box.width || e.closest('.wide, .skip, canvas')) return false;
            return box.right > innerWidth + 1;
          }).map((e) => e.tagName + '.' + e.className).slice(0, 5)]""")
        assert wide[0] <= wide[1], (question, wide)
    places = window.tab.locator("#questions a, button:visible").all()
    small = [p.inner_text() for p in places if p.bounding_box()["height"] < 24]
    assert small == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_serious(opened, scheme):
    source = axe_source()
    window = opened(color_scheme=scheme)
    for question in QUESTIONS:
        ask(window, question)
        # the tool is put in by the browser's own door: the page's policy stays as it is
        session = window.context.new_cdp_session(window.tab)
        session.send("Runtime.evaluate", {"expression": source})
        found = session.send("Runtime.evaluate", {
            "expression": "axe.run().then((r) => r.violations.filter((v) => ['serious', 'critical']"
                          ".includes(v.impact)).map((v) => v.id + ': ' + v.nodes.slice(0, 3)"
                          ".map((n) => n.target.join(' ')).join(', ')))",
            "awaitPromise": True, "returnByValue": True})
        assert found["result"].get("value") == [], (question, found)


def test_keyboard_alone_reaches_and_moves_everything(opened):
    window = opened()
    tab = window.tab
    tab.evaluate("document.activeElement.blur()")
    reached = []
    for _ in range(70):
        tab.keyboard.press("Tab")
        reached.append(tab.evaluate("""() => {
          const e = document.activeElement;
          return e.getAttribute('aria-label') || e.labels?.[0]?.textContent || e.textContent;
        }"""))
    words = " | ".join(w.strip() for w in reached if w)
    for must in ("Skip to the answer", "Laydown board, at the foul line", "Board at the arrows",
                 "Let it roll", "slow motion", "Where the ball is", "What does this ball do?",
                 "Where do I stand?", "Ball", "Finish", "Oil", "Speed", "Axis tilt", "Hand"):
        assert must in words, must
    # throw another ball and ask another question without a mouse
    tab.get_by_role("combobox", name="Ball", exact=True).focus()
    tab.keyboard.press("ArrowDown")
    tab.keyboard.press("ArrowDown")
    tab.keyboard.press("Enter")
    assert window.state("s.shot.ball") != "strong-solid"
    tab.get_by_role("link", name="What if I change it?").focus()
    tab.keyboard.press("Enter")
    assert tab.evaluate("document.activeElement.id") == "answer"
    assert tab.evaluate("document.body.dataset.question") == "compare"
    tab.evaluate("history.back()")  # headless browsers have no key for it
    window.until(lambda: window.state("s.question") == "shot", what="the way back")


def test_focus_is_seen(opened):
    window = opened()
    for selector in ("#playing button", "#questions a", ".handle.at-arrows", "#asked input"):
        element = window.tab.locator(selector).first
        element.focus()
        window.tab.keyboard.press("Shift+Tab")
        window.tab.keyboard.press("Tab")
        outline = element.evaluate("(e) => getComputedStyle(e).outlineWidth")
        assert outline != "0px", selector


def test_it_prints_on_one_sheet(opened, tmp_path):
    window = opened()
    data = window.tab.pdf(path=tmp_path / "sheet.pdf", prefer_css_page_size=True)
    assert data.count(b"/Type /Page\n") + data.count(b"/Type /Page ") \
        + data.count(b"/Type/Page/") == 1


def test_two_windows_of_different_hands_do_not_disturb_each_other(opened):
    first, second = opened(), opened("q=shot&hand=left&ball=weak-pearl")
    assert second.state("[s.shot.hand, s.shot.ball]") == ["left", "weak-pearl"]
    assert first.state("[s.shot.hand, s.shot.ball]") == ["right", "strong-solid"]
    assert first.state("s.full.entry_board") != second.state("s.full.entry_board")


def test_a_broken_address_gives_the_usual_view(opened):
    window = opened("q=nowhere&speed_mph=fast&kept=%E0%A4%A&kept=a~b&rev_rpm=1e9", thrown=False)
    # a number that no ball can have is kept, and refused in words until it is mended
    window.tab.get_by_text("accepted: 0 to 750 rpm").first.wait_for()
    window.tab.get_by_role("spinbutton", name="Rev rate [rpm]").fill("400")
    window.ready()
    assert window.state("s.shot.speed_mph") == pytest.approx(18.6)
