"""The shot under the hand: what the page shows is what the command says, to 0.01 board."""

from __future__ import annotations

import pytest
from page_window import Window, command, throw_command

NEAR = 0.01  # boards, the page's promise


def held_against_the_command(window):
    """The full shot that the page shows equals the command's, curve by curve; that shot."""
    window.ready()
    shot, full = window.state("[s.shot, s.full]")
    told = throw_command(shot)
    for name in ("entry_board", "breakpoint_board", "breakpoint_ft", "hook_ft", "entry_angle_deg"):
        assert full[name] == pytest.approx(told[name], abs=NEAR), name
    assert full["outcome"] == told["outcome"]
    assert len(full["y_board"]) == len(told["y_board"])
    assert max(abs(a - b) for a, b in zip(full["y_board"], told["y_board"], strict=True)) < NEAR
    words = window.tab.inner_text("#result")
    if told["entry_board"] is not None:
        assert f"board {told['entry_board']:.1f} at {told['entry_angle_deg']:.1f} deg" in words
    return shot


def test_the_first_view_is_the_commands_default(window):
    shot = held_against_the_command(window)
    default = command("throw", "--json")
    assert (shot["ball"], shot["pattern"]) == (default["ball"], default["pattern"])
    for name in ("speed_mph", "rev_rpm", "rotation_deg", "tilt_deg", "laydown_board"):
        assert shot[name] == default["release"][name]
    angle = window.state("s.full.release.launch_angle_deg")
    assert angle == pytest.approx(default["release"]["launch_angle_deg"], abs=0.02)
    assert "In the pocket" in window.tab.inner_text("#result")


def drag(window, handle, dy):
    box = window.tab.locator(f".handle.{handle}").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    mouse = window.tab.mouse
    mouse.move(x, y)
    mouse.down()
    for n in range(1, 9):
        mouse.move(x, y + dy * n / 8)
    mouse.up()


def test_dragging_ball_and_mark(window):
    before = window.state("s.shot")
    drag(window, "at-foul-line", -12)
    drag(window, "at-arrows", 9)
    after = held_against_the_command(window)
    assert after["laydown_board"] > before["laydown_board"] + 1
    assert after["target_board"] < before["target_board"] - 0.8
    # the engine that follows the hand and the one that follows when it rests agree
    quick, full = window.state("[s.quick, s.full]")
    assert quick["entry_board"] == pytest.approx(full["entry_board"], abs=0.02)


def test_keys_do_what_the_mouse_does(window):
    for handle, key, name, change in (
        ("at-foul-line", "ArrowUp", "laydown_board", 0.5),
        ("at-foul-line", "PageDown", "laydown_board", -2.0),
        ("at-arrows", "ArrowDown", "target_board", -0.1),
        ("at-arrows", "PageUp", "target_board", 2.0),
    ):
        before = window.state(f"s.shot.{name}")
        window.tab.focus(f".handle.{handle}")
        window.tab.keyboard.press(key)
        assert window.state(f"s.shot.{name}") == pytest.approx(before + change, abs=1e-9)
    held_against_the_command(window)
    text = window.tab.get_attribute(".handle.at-arrows", "aria-valuetext")
    assert text == f"board {window.state('s.shot.target_board'):.1f}"


def test_sliders_and_numbers(window):
    slide = window.tab.get_by_label("Speed, mph")
    slide.focus()
    for _ in range(5):
        slide.press("ArrowLeft")
    assert window.state("s.shot.speed_mph") == pytest.approx(18.1)
    window.tab.get_by_label("Rev rate [rpm]", exact=True).fill("380")
    window.tab.get_by_label("Axis rotation [deg]", exact=True).fill("52")
    shot = held_against_the_command(window)
    assert (shot["rev_rpm"], shot["rotation_deg"]) == (380, 52)


def test_choosing_ball_finish_layout_and_oil(window):
    for label, words in (("Ball", "pearl"), ("Finish", "polish"), ("Layout", "drill 75"),
                         ("Oil", "39")):
        box = window.tab.get_by_role("combobox", name=label, exact=True)
        box.fill(words)
        box.press("Enter")
    shot = held_against_the_command(window)
    assert "pearl" in shot["ball"] and shot["finish"] == "polish"
    assert "drill 75" in shot["layout"] and "39" in shot["pattern"]


def test_a_left_hander_sees_his_own_boards(window):
    box = window.tab.locator(".handle.at-foul-line").bounding_box()
    window.tab.get_by_label("Hand").select_option("left")
    held_against_the_command(window)
    mirrored = window.tab.locator(".handle.at-foul-line").bounding_box()
    lane = window.tab.locator("#lane").bounding_box()
    middle = lane["y"] + (lane["height"] - 10) / 2  # ten more pixels below the lane than above
    assert box["y"] + box["height"] / 2 - middle == pytest.approx(
        middle - mirrored["y"] - mirrored["height"] / 2, abs=1.5)


@pytest.mark.parametrize(("label", "value", "words"), [
    ("Speed [mph]", "45", "speed is 45 mph; accepted: 8 to 32 mph"),
    ("Laydown board", "77", "laydown board is 77"),
    ("Rev rate [rpm]", "", "a number, please"),
])
def test_a_mistake_is_said_beside_its_field(window, label, value, words):
    field = window.tab.get_by_role("spinbutton", name=label, exact=True)
    field.fill(value)
    window.until(lambda: field.get_attribute("aria-invalid") == "true", what="the mistake")
    wrong = window.tab.locator("#" + field.get_attribute("aria-describedby"))
    assert words in wrong.inner_text()
    field.fill("18" if "mph" in label else "20")
    window.until(lambda: field.get_attribute("aria-invalid") == "false", what="no mistake any more")
    window.ready()


def test_a_layout_typed_wrong_keeps_the_page_going(window):
    box = window.tab.get_by_role("combobox", name="Layout")
    box.fill("50 by 4")
    box.press("Tab")
    wrong = window.tab.locator("#" + box.get_attribute("aria-describedby"))
    window.until(lambda: "drill 50 deg" in wrong.inner_text(), what="what is accepted")


def test_play_and_scrubber_join_lane_ball_and_curves(window):
    scrubber = window.tab.get_by_label("Where the ball is")
    whole = window.state("s.full.t_s.at(-1)")
    window.tab.get_by_role("button", name="Let it roll").click()
    window.until(lambda: (window.state("s.time") or 0) > 0.2, what="the ball rolls")
    window.tab.get_by_role("button", name="Hold it").click()
    held = window.state("s.time")
    window.tab.wait_for_timeout(120)
    assert window.state("s.time") == held < whole
    scrubber.evaluate("(e, v) => { e.value = v; e.dispatchEvent(new Event('input')); }",
                      str(whole / 2))
    time = window.state("s.time")
    assert time == pytest.approx(whole / 2, abs=0.01)
    words = scrubber.get_attribute("aria-valuetext")
    t, x = window.state("s.full.t_s"), window.state("s.full.x_ft")
    at = max(n for n, each in enumerate(t) if each <= time)
    assert x[at] - 0.06 <= float(words.split(" ft")[0]) <= x[at + 1] + 0.06
    curve = window.tab.locator("canvas.curve").first
    wide = curve.bounding_box()["width"]
    curve.click(position={"x": 34 + 0.5 * (wide - 40), "y": 40})
    ft = float(scrubber.get_attribute("aria-valuetext").split(" ft")[0])
    assert ft == pytest.approx(30, abs=0.3)


def test_the_address_brings_the_view_back(window, chromium, served):
    window.tab.get_by_label("Axis tilt [deg]", exact=True).fill("9")
    window.tab.get_by_role("combobox", name="Oil").fill("45")
    window.tab.keyboard.press("Enter")
    window.until(lambda: "tilt_deg=9" in window.tab.url and "long-45" in window.tab.url)
    view = window.tab.url.partition("#")[2]
    again = Window(chromium, served, view)
    again.ready()
    assert again.state("s.shot") == window.state("s.shot")
    assert again.state("s.full.entry_board") == window.state("s.full.entry_board")
    again.close()


def test_nothing_is_asked_of_anybody_else(window, served):
    window.tab.reload()
    window.ready()
    assert window.requests and all(url.startswith(served.base + "/") for url in window.requests)
