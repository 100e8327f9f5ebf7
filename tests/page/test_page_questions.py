"""Every question from its start to its result, and what jobs promise: stop, reload, two windows."""

from __future__ import annotations

import base64
import json
import re
import shutil
import time

import pytest
from page_window import Page, Window, command

from lanesim.catalog import DATA

FEW = {"shots": 256, "seed": 1}


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    """A page over a folder with the invented examples in it."""
    folder = tmp_path_factory.mktemp("questions") / "folder"
    folder.mkdir()
    for name in ("demo_event.toml", "demo_event_balls.toml", "demo_player.toml", "demo_shots.csv",
                 "demo_log.csv"):
        shutil.copy(DATA / name, folder)
    with Page(folder) as running:
        yield running


@pytest.fixture
def open_window(chromium, page):
    """Windows of that page, closed at the end."""
    opened = []

    def one(view="", **options):
        opened.append(Window(chromium, page, view, **options))
        return opened[-1]

    yield one
    for each in opened:
        each.close()


def answer_of(page, study, asked, within=150.0):
    """The answer to a question, asked as a window asks it."""
    job = ended(page, study, asked, within)
    assert job["state"] == "done", job
    return page.json(f"/api/result/{job['id']}"), job["id"]


def ended(page, study, asked, within=150.0):
    """The job of a question, asked as a window asks it, when it has ended."""
    end = time.monotonic() + within
    job = page.json(f"/api/study/{study}", {"asked": asked})
    while job["state"] in {"waiting", "running"}:
        assert time.monotonic() < end, job
        time.sleep(0.2)
        job = page.json(f"/api/study/{study}", {"asked": asked, "start": False})
    return job


def refusal(page, study, asked):
    """What the page says of a question that it does not take, at once or when it looks closer."""
    status, _, text = page.ask(f"/api/study/{study}", {"asked": asked})
    if status != 200:
        return json.loads(text)["error"]
    job = ended(page, study, asked)
    assert job["state"] == "failed", job["state"]
    return job["error"]


@pytest.fixture
def spreading(page):
    first = page.json("/api/start")
    return first["shot"] | {"level": "200", "player": ""}


def release_options(shot):
    return ["--speed", shot["speed_mph"], "--revs", shot["rev_rpm"], "--rotation",
            shot["rotation_deg"], "--tilt", shot["tilt_deg"], "--laydown", shot["laydown_board"],
            "--target", shot["target_board"]]


def test_compare_says_what_the_command_says(page, spreading):
    shots = [{k: v for k, v in spreading.items() if k not in {"level", "player"}}]
    shots.append(shots[0] | {"pattern": "long-45"})
    found, _ = answer_of(page, "compare", {"shots_thrown": shots, **FEW})
    told = command("compare", "--json", "--pattern", "medium-42", "--pattern", "long-45",
                   "--shots", FEW["shots"], *release_options(spreading))
    for ours, theirs in zip(found["numbers"]["shots"], told["variants"], strict=True):
        assert ours["variants"][0]["values"] == pytest.approx(theirs["values"], abs=0.01,
                                                              nan_ok=True)
        assert ours["variants"][0]["under_spread"]["outcomes"]["pocket"] \
            == theirs["under_spread"]["outcomes"]["pocket"]
    gain = told["variants"][1]["under_spread"]["differences"]["pocket"]["value"]
    text = f"{100 * gain:+.1f}".replace("-", "−")
    assert found["tables"][-1]["rows"][1][2].startswith(text)


def test_the_map_agrees_with_a_judgement_of_one_line(page, spreading):
    found, _ = answer_of(page, "map", spreading | {"shots": 64, "seed": 1})
    rows, arrows = found["numbers"]["rows"], found["numbers"]["arrows"]
    assert len(rows) == 30 and [r["laydown"] for r in rows] == sorted(r["laydown"] for r in rows)
    line = found["line"]
    column = arrows.index(line["target_board"])
    best = next(r for r in rows if r["laydown"] == line["laydown_board"])["rates"][column]
    assert best == max(v for r in rows for v in r["rates"] if v is not None)
    told = command("odds", "--json", "--line", "given", "--shots", 64, "--seed", 1,
                   *release_options(spreading | line))
    assert told["balls"][0]["pocket"]["rate"] == pytest.approx(best, abs=1e-9)


def test_the_best_line_is_the_commands(page, spreading):
    found, _ = answer_of(page, "line", spreading | FEW)
    told = command("lineup", "--json", "--shots", FEW["shots"], "--seed", 1,
                   *release_options(spreading))
    assert found["numbers"]["release"] == told["release"]
    assert found["numbers"]["pocket"] == told["pocket"]
    assert dict(found["facts"])["lay down on"].startswith(
        f"board {told['release']['laydown_board']:.1f}")


def test_games_say_what_the_command_says(page, spreading):
    found, key = answer_of(page, "games", spreading | {"games": 1, "shots": 32, "seed": 1})
    told = command("transition", "--json", "--games", 1, "--shots", 32,
                   *release_options(spreading))
    assert found["numbers"]["lane_ml"] == told["lane_ml"]
    assert found["numbers"]["reactions"][0]["pocket"] == told["reactions"][0]["pocket"]
    status, headers, svg = page.ask(f"/api/picture/{key}/0")
    assert status == 200 and "<svg" in svg
    assert headers["content-security-policy"].endswith("sandbox")


def test_a_log_is_judged(page, spreading):
    log = page.folder / "log.csv"
    log.write_text("date,ball,games\n2026-01-10,strong-solid,30\n")
    asked = spreading | {"file": "log.csv", "today": "2026-02-01", "shots": 64, "sets": 4}
    found, _ = answer_of(page, "wear", asked)
    told = command("wear", log, "--json", "--today", "2026-02-01", "--shots", 64, "--sets", 4,
                   *release_options(spreading))
    ours, theirs = found["numbers"]["balls"][0], told["balls"][0]
    assert ours["advice"] == theirs["advice"] and ours["standings"] == theirs["standings"]
    assert theirs["advice"][0] in found["sentences"][0]
    log.unlink()


def test_shots_are_fitted_and_the_fit_is_used(page, spreading):
    lines = (DATA / "demo_shots.csv").read_text().splitlines(keepends=True)
    head = next(n for n, line in enumerate(lines) if not line.startswith("#"))
    (page.folder / "few.csv").write_text("".join(lines[:head + 9]))
    found, _ = answer_of(page, "fit", spreading | {"file": "few.csv", "seed": 0})
    told = command("fit", page.folder / "few.csv", "--json", "--seed", 0, "--ball",
                   spreading["ball"], "--pattern", spreading["pattern"],
                   *release_options(spreading))
    ours, theirs = found["numbers"]["parameters"], told["parameters"]
    assert ours and ours.keys() == theirs.keys()
    for label, term in theirs.items():
        for which in ("estimate", "low_95", "high_95"):
            assert ours[label][which] == pytest.approx(term[which], abs=1e-6), label
    files = dict(found["files"])
    fitted = files["few-fitted.toml"]
    page.json("/api/file/write", {"name": "mine.toml", "text": fitted})
    shot = {k: v for k, v in spreading.items() if k not in {"level", "player"}}
    full = page.json("/api/shot", shot | {"fitted": "mine.toml"})
    assert full["provenance"].startswith("fitted to")
    (page.folder / "mine.toml").unlink()
    (page.folder / "few.csv").unlink()


def test_the_bag_from_the_form_to_the_report(page, open_window):
    window = open_window("q=bag")
    tab = window.tab
    tab.locator("select[data-kind=event]").select_option("demo_event.toml")
    tab.get_by_label("File name").fill("small.toml")
    tab.locator("[data-key=registered]").fill("-2")
    tab.get_by_role("button", name="Write the file").click()
    wrong = tab.locator(".editor .wrong:not(:empty)")
    wrong.wait_for()
    assert "registered" in wrong.inner_text() and not (page.folder / "small.toml").exists()
    tab.locator("[data-key=registered]").fill("4")
    for _ in range(4):
        tab.get_by_role("button", name="Take this ball out").last.click()
    tab.get_by_role("button", name="Take this round out").last.click()
    tab.locator("[data-key=cut]").fill("900")  # a total that five games can reach
    tab.get_by_role("button", name="Write the file").click()
    window.until(lambda: (page.folder / "small.toml").exists(), what="the file")
    window.until(lambda: tab.locator("select").filter(has_text="small.toml").first.count())
    tab.get_by_label("Event", exact=True).select_option("small.toml")
    tab.get_by_label("Shots on each line").fill("64")
    tab.get_by_label("Shots on each line").press("Tab")
    tab.get_by_role("button", name="Choose the bag").click()
    tab.get_by_role("link", name="Open the report").wait_for(timeout=150_000)
    told = command("bag", page.folder / "small.toml", "--json", "--shots", 64, "--out",
                   page.folder.parent / "told", "--cache", page.folder / ".lanesim-page" / "kept")
    names = {b["name"] for b in told["balls"]}
    caption = tab.locator("table", has=tab.locator("caption", has_text="The bag"))
    rows = [row for row in caption.locator("tbody").inner_text().splitlines() if row]
    # a row begins with the ball's name, and may say how it has been used
    assert all(any(row.split("\t")[0].split(" (")[0] == name for row in rows) for name in names)
    pictures = tab.locator(".picture img")
    window.until(lambda: all(pictures.nth(n).evaluate("e => e.complete && e.naturalWidth > 200")
                             for n in range(4)), what="the pictures")
    address = tab.get_by_role("link", name="Open the report").get_attribute("href")
    report = window.open(page.base + address)
    assert report.locator("h1").count() == 1
    report.close()
    (page.folder / "small.toml").unlink()


LONG = {"file": "demo_event.toml", "shots": 4000, "resamples": 100}


def start_long(window):
    tab = window.tab
    tab.get_by_label("Event", exact=True).select_option("demo_event.toml")
    tab.get_by_label("Shots on each line").fill("4000")
    tab.get_by_label("Shots on each line").press("Tab")
    tab.get_by_role("button", name="Choose the bag").click()
    tab.get_by_role("button", name="Stop it").wait_for()


def test_a_job_survives_a_reload_and_is_seen_in_two_windows_and_stops(page, open_window):
    first = open_window("q=bag")
    start_long(first)
    first.until(lambda: "c.bag_shots=4000" in first.tab.url, what="the address")
    first.tab.reload()
    first.tab.get_by_role("button", name="Stop it").wait_for()
    second = open_window(first.tab.url.partition("#")[2])
    second.tab.get_by_role("button", name="Stop it").wait_for()
    # while it runs the hand is followed
    first.tab.focus(".handle.at-arrows")
    before = first.state("s.quick.entry_board")
    first.tab.keyboard.press("ArrowUp")
    first.until(lambda: first.state("s.quick.entry_board") != before, within=5, what="the path")
    second.tab.get_by_role("button", name="Stop it").click()
    first.tab.get_by_role("button", name="Choose the bag").wait_for()
    second.tab.get_by_role("button", name="Choose the bag").wait_for()
    assert page.json("/api/study/bag", {"asked": LONG, "start": False})["state"] == "stopped"
    assert not list(page.folder.rglob("*.tmp")) and not list(page.folder.glob(".demo*"))


def test_the_map_fills_and_a_click_stands_there(open_window):
    window = open_window("q=stand")
    tab = window.tab
    tab.get_by_text("On this map the best place").wait_for(timeout=60_000)
    tab.get_by_text("of your shots find the pocket; nine in ten").wait_for()
    assert window.state("s.view.corridor.low.length") > 50
    tab.get_by_role("button", name="Stand there").first.click()
    line = window.state("[s.shot.laydown_board, s.shot.target_board]")
    canvas = tab.locator("canvas.map")
    box = canvas.bounding_box()
    canvas.click(position={"x": box["width"] / 2, "y": box["height"] / 2})
    assert window.state("[s.shot.laydown_board, s.shot.target_board]") != line
    canvas.press("ArrowUp")
    canvas.press("ArrowRight")
    window.ready()


def test_shots_are_kept_compared_and_dropped(open_window):
    window = open_window("q=compare")
    tab = window.tab
    for n, ball in enumerate(("weak-pearl", "plastic-spare", "strong-asym")):
        tab.get_by_role("button", name="Keep this shot").click()
        assert window.state("s.kept.length") == n + 1
        box = tab.get_by_role("combobox", name="Ball", exact=True)
        box.fill(ball)
        box.press("Enter")
        window.ready()
    rows = tab.locator("table").first.locator("tbody tr")
    window.until(lambda: rows.count() == 4, what="four shots in the table")
    window.until(lambda: window.state("s.view.paths.length") == 4, what="four paths on the lane")
    slots = window.state("s.view.paths.map((p) => p.slot)")
    assert len(set(slots)) == 4
    first, second = (window.state(f"s.view.paths[{n}].entry_board") for n in (0, 1))
    cells = tab.locator("table").nth(1).locator("tbody tr").first.locator("td").all_inner_texts()
    assert f"{second - first:+.1f}".replace("-", "−") in cells
    tab.get_by_role("button", name="Drop shot 2").click()
    window.until(lambda: rows.count() == 3, what="one dropped")


def drop_files(window, files):
    """Drop files on the page as a hand would."""
    window.tab.evaluate("""(files) => {
      const data = new DataTransfer();
      for (const [name, bytes] of files) data.items.add(new File(
        [Uint8Array.from(atob(bytes), (c) => c.charCodeAt(0))], name));
      for (const kind of ['dragenter', 'dragover', 'drop']) document.body.dispatchEvent(
        new DragEvent(kind, {dataTransfer: data, bubbles: true, cancelable: true}));
    }""", [[name, base64.b64encode(data).decode()] for name, data in files])


def test_dropped_files_are_taken_in_or_refused_in_one_line(page, open_window):
    window = open_window()
    oil = (b"format: lanesim-oil-1\nname: dropped\ntitle: <b>Dropped</b>\nlength_ft: 40\n"
           b"symmetric: yes\nband boards 2 to 20 feet 0 to 40 oil 12 to 4\n")
    drop_files(window, [("dropped.oil", oil), ("broken.oil", oil.replace(b"12 to 4", b"12 to x")),
                        ("binary.csv", bytes(range(256))), ("picture.png", b"\x89PNG"),
                        ("empty.toml", b""), ("huge.csv", b"a" * 2_000_001)])
    said = window.tab.locator("#dropped li")
    window.until(lambda: said.count() == 6, what="a line for each file")
    texts = said.all_inner_texts()
    assert "dropped.oil: taken in (oil)" in texts[0]
    assert "broken.oil, line 6" in texts[1] and "UTF-8" in texts[2] and ".oil" in texts[3]
    assert "empty" in texts[4] and "2 MB" in texts[5]
    assert {p.name for p in page.folder.glob("*.oil")} == {"dropped.oil"}
    box = window.tab.get_by_role("combobox", name="Oil", exact=True)
    box.fill("dropped")
    box.press("Enter")
    window.ready()
    assert window.state("s.shot.pattern") == "dropped.oil"
    assert window.tab.locator("b", has_text="Dropped").count() == 0
    # a file of that name again is not written over; a form keeps the former version
    drop_files(window, [("dropped.oil", oil.replace(b"40", b"41"))])
    window.until(lambda: "already" in said.last.inner_text(), what="the refusal")
    (page.folder / "dropped.oil").unlink()


def test_a_player_is_edited_and_the_former_version_is_kept(page, open_window):
    window = open_window("q=bag")
    tab = window.tab
    tab.locator("select[data-kind=player]").select_option("+")
    tab.get_by_label("File name").fill("me.toml")
    tab.locator(".editor [data-key=speed_mph]").fill("45")
    tab.get_by_role("button", name="Write the file").click()
    wrong = tab.locator(".editor .wrong:not(:empty)")
    wrong.wait_for()
    assert "accepted: 8 to 32 mph" in wrong.inner_text()
    tab.locator(".editor [data-key=speed_mph]").fill("17.5")
    tab.get_by_role("button", name="Write the file").click()
    window.until(lambda: (page.folder / "me.toml").exists(), what="the file")
    told = command("throw", "--json", "--player", page.folder / "me.toml")
    assert told["release"]["speed_mph"] == 17.5
    first = (page.folder / "me.toml").read_text()
    window.until(lambda: tab.locator("select[data-kind=player] option[value='me.toml']").count())
    tab.locator("select[data-kind=player]").select_option("me.toml")
    tab.locator(".editor [data-key=rev_rpm]").fill("300")
    tab.get_by_role("button", name="Write the file").click()
    former = page.folder / ".lanesim-page" / "former" / "me.toml.1"
    window.until(former.exists, what="the former version")
    assert former.read_text() == first and "300" in (page.folder / "me.toml").read_text()
    tab.get_by_label("Repeats like").first.select_option("me.toml")
    assert window.state("s.shot.player") == "me.toml"
    (page.folder / "me.toml").unlink()


def test_results_are_found_again_by_content(page, spreading):
    asked = spreading | {"shots": 16, "seed": 7}
    _, key = answer_of(page, "map", asked)
    again = page.json("/api/study/map", {"asked": asked, "start": False})
    assert again["state"] == "done" and again["id"] == key
    other = page.json("/api/study/map", {"asked": asked | {"seed": 8}, "start": False})
    assert other["state"] == "none" and other["id"] != key
    for wrong in ("../x", "0" * 31, "g" * 32, "0" * 32):
        assert page.ask(f"/api/result/{wrong}")[0] == 404


def test_a_question_asked_wrongly_gets_one_line(page, spreading):
    for study, asked, words in (
        ("map", spreading | {"level": "300"}, "unknown level"),
        ("map", spreading | {"shots": -1}, "shots"),
        ("bag", {"file": "demo_shots.csv"}, "no event"),
        ("bag", {"file": "../x.toml"}, "file name"),
        ("nothing", {}, "known"),
    ):
        said = refusal(page, study, asked)
        assert re.search(words, said) and "\n" not in said, (study, said)


def test_the_pages_own_description_covers_every_route(page):
    told = page.json("/api")
    assert "/api/study/bag" in told["routes"] and "/api/quick" in told["routes"]
    names = {ref["$ref"].rpartition("/")[2] for ref in told["routes"].values()}
    assert names <= told["$defs"].keys()
    assert told["$defs"]["Shot"]["additionalProperties"] is False


def test_spares_are_the_tables(page, open_window):
    from lanesim.catalog import named_spread
    from lanesim.pins.score import leave_mask
    from lanesim.pins.spares import player_spares

    window = open_window("q=spares")
    tab = window.tab
    tab.get_by_text("10: made in").wait_for()
    for pin in (3, 6):
        tab.get_by_label(f"Pin {pin} stands").check()
    said = tab.locator(".spares .headline")
    window.until(lambda: said.inner_text().startswith("3-6-10"), what="the leave")
    rate = player_spares(named_spread("200")).detail(leave_mask("3-6-10"))["rate"]
    assert said.inner_text() == f"3-6-10: made in {100 * rate:.0f} of 100 tries"
    tab.get_by_role("button", name="Throw the plastic ball there").click()
    window.ready()
    aimed = page.json("/api/spares", window.state("({...s.shot, pins: [3, 6, 10]})"))["aim_board"]
    # a ball without side turn goes nearly straight to where it was sent
    assert window.state("s.full.entry_board") == pytest.approx(aimed, abs=1.5)
    for pin in (3, 6, 10):
        tab.get_by_label(f"Pin {pin} stands").uncheck()
    tab.get_by_text("that was a strike").wait_for()
