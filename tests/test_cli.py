"""The commands as a new user tries them in an empty folder, with wrong input too."""

from __future__ import annotations

import csv
import io
import json
import os
import signal
import subprocess
import sys
import time
from dataclasses import replace

import numpy as np
import pytest

from lanesim import catalog
from lanesim import player as release
from lanesim.cli import cli, common
from lanesim.errors import InputError
from lanesim.motion import compiled, kernels, trajectory
from lanesim.player import Release
from lanesim.studies import compare, sweep

OUR_COMMANDS = ("throw", "compare", "sweep", "balls", "demo")
REFERENCE = Release(**common.DEFAULT_RELEASE)

GOOD_BALL = """
[mine]
weight_lb = 15
rg_in = 2.50
diff_in = 0.048
cover = "reactive-solid"
drilling_deg = 50
pin_to_pap_in = 4.5
val_deg = 30
"""


def one_line(result) -> str:
    """The one line of stderr of a refused command."""
    assert result.exit_code == 2, result.output
    assert result.stdout == ""
    (line,) = result.stderr.splitlines()
    assert line.startswith("lanesim: ")
    return line


# --- the frame -----------------------------------------------------------------------------


def test_the_listing_names_every_command_that_is_there(lanesim):
    result = lanesim("--help")
    assert result.exit_code == 0
    for name in cli.list_commands(None):
        assert f"\n  {name} " in result.stdout
    assert lanesim().stdout == result.stdout


@pytest.mark.parametrize("name", OUR_COMMANDS)
def test_each_command_explains_itself(lanesim, name):
    result = lanesim(name, "--help")
    assert result.exit_code == 0
    assert result.stdout.startswith(f"Usage: lanesim {name} ")
    assert "--json" in result.stdout


def test_help_offers_the_levels_and_defaults_that_exist():
    assert tuple(release.LEVELS) == common.LEVEL_NAMES
    assert common.DEFAULT_LEVEL in release.LEVELS
    assert common.DEFAULT_BALL in catalog.ball_names()
    assert common.DEFAULT_PATTERN in catalog.pattern_names()


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (["trow"], "no command 'trow'; did you mean 'throw'?"),
        (["throw", "--sped", "17"], "'--speed'"),
        (["throw", "--speed", "fast"], "'fast' is not a valid float"),
        (["throw", "--speed", "40"], "speed is 40 mph; accepted: 8 to 32 mph"),
        (["throw", "--speed", "nan"], "speed is nan mph; accepted: 8 to 32 mph"),
        (["throw", "--revs", "-5"], "rev rate is -5 rpm; accepted: 0 to 750 rpm"),
        (["throw", "--laydown", "41"], "laydown board is 41; accepted: 0.5 to 39.5"),
        (["throw", "--hand", "both"], "'both' is not one of 'right', 'left'"),
        (["throw", "--angle", "-3", "--target", "10"], "give --angle or --target, not both"),
        (["throw", "--target", "ten"], "target 'ten' is not understood"),
        (["throw", "--target", "10@70"], "accepted: 1 to 60 ft"),
        (["throw", "--ball", "strong-sollid"], "did you mean 'strong-solid'?"),
        (["throw", "--ball", "none.toml"], "ball file not found: none.toml"),
        (["throw", "--pattern", "medium-24"], "unknown pattern 'medium-24'; did you mean"),
        (["throw", "--pattern", "none.oil"], "not found: none.oil"),
        (["throw", "--player", "me.toml"], "player file not found: me.toml"),
        (["throw", "--pin", "4 1"], "--pin '4 1' is not understood; accepted: inches, as in"),
        (["throw", "--pin", "7"], "pin_to_pap_in is 7 in; accepted: 0 to 6.75 in"),
        (["compare", "--layout", "50x4.5x30"], "layout '50x4.5x30' is not understood; accepted: "
         "drill 50 deg, pin 4.5 in, VAL 30 deg"),
        (["compare", "--layout", "pin 4", "--layout", "pin 7"], "pin_to_pap_in is 7 in"),
        (["throw", "--finish", "10000"], "finish is 10000 grit; accepted: 360 to 5000 grit"),
        (["throw", "--out", "a.jpg"], "must end in .png, .svg or .pdf"),
        (["throw", "--csv", "a.txt"], "must end in .csv"),
        (["throw", "extra"], "unexpected extra argument"),
        (["compare"], "nothing to compare"),
        (["compare", "--finish", "1000", "--finish", "1000"], "'1000 grit' is given twice"),
        (["compare", "--ball", "strong-solid", "--ball", "x"], "unknown ball 'x'"),
        (["compare", "--finish", "500", "--finish", "2000", "--layout", "pin 3",
          "--layout", "pin 4", "--layout", "pin 5", "--pattern", "medium-39", "--pattern",
          "long-45", "--out", "a.png"], "12 paths are too many for one picture"),
        (["sweep", "--over", "speed"], "'speed' is not understood"),
        (["sweep", "--over", "sped=16:20:3"], "unknown setting 'sped'; did you mean 'speed'?"),
        (["sweep", "--over", "speed=16:20"], "accepted: speed=LOW:HIGH:COUNT"),
        (["sweep", "--over", "speed=16:20:1"], "a count of 1 values; accepted: 2 to"),
        (["sweep", "--over", "speed=16:40:3"], "speed is 40 mph; accepted: 8 to 32 mph"),
        (["sweep", "--over", "speed=16,16"], "gives a value twice"),
        (["sweep", "--over", "finish=500:2000:3"], "finish takes a list"),
        (["sweep", "--over", "pin=1:9:3"], "pin_to_pap_in is 9 in"),
        (["sweep", "--over", "speed=16:20:3", "--over", "speed=17:18:3"], "speed is given twice"),
        (["sweep", "--over", "angle=-4:0:3", "--target", "10"], "a target fixes the launch angle"),
        (["sweep", "--over", "speed=16:20:999", "--over", "revs=200:400:999"],
         "998001 points in the grid; accepted: up to 200000"),
        (["sweep", "--over", "speed=16:20:2", "--over", "revs=200:400:2", "--over",
          "tilt=0:20:2", "--out", "a.png"], "a picture shows one or two settings"),
        (["sweep", "--show", "entry_bord"], "did you mean 'entry_board'?"),
        (["balls", "strong"], "unknown ball 'strong'; did you mean"),
        (["balls", "--check", "none.toml"], "ball file not found: none.toml"),
        (["balls", "strong-solid", "--check", "x.toml"], "--check FILE stands alone"),
        (["demo", "--seed", "-1"], "-1 is not in the range"),
        (["demo", "more"], "unexpected extra argument"),
    ],
)
def test_wrong_input_gives_one_line_code_two_and_no_file(lanesim, empty_folder, words, expected):
    line = one_line(lanesim(*words))
    assert expected in line
    assert list(empty_folder.iterdir()) == []


def test_files_that_cannot_be_written_are_refused_before_the_work(lanesim, empty_folder):
    (empty_folder / "taken").write_text("a file where a folder is wanted")
    for words in (["throw", "--csv", "taken/a.csv"], ["throw", "--out", "taken/b/c.png"],
                  ["demo", "--out", "taken"], ["demo", "--out", "taken/deeper"]):
        assert "taken" in one_line(lanesim(*words))
    (empty_folder / "folder.csv").mkdir()
    assert "it is a folder" in one_line(lanesim("throw", "--csv", "folder.csv"))
    assert sorted(p.name for p in empty_folder.iterdir()) == ["folder.csv", "taken"]


def test_one_bad_output_of_two_leaves_neither(lanesim, empty_folder):
    one_line(lanesim("throw", "--csv", "good.csv", "--out", "bad.gif"))
    assert list(empty_folder.iterdir()) == []


def test_a_value_outside_the_standard_is_a_note_and_the_work_goes_on(lanesim, empty_folder):
    (empty_folder / "old.toml").write_text(GOOD_BALL.replace("0.048", "0.070"))
    result = lanesim("throw", "--ball", "old.toml", "--json")
    assert result.exit_code == 0
    (note,) = [line for line in result.stderr.splitlines() if not line.startswith("compiling")]
    assert note.startswith("note: ") and "differential 0.07 in" in note and "0.06 in" in note
    assert json.loads(result.stdout)["ball"] == "mine"


def test_a_traceback_is_never_the_answer_to_a_bad_ball_file(lanesim, empty_folder):
    for text, words in (
        (GOOD_BALL.replace("15", "17"), ["weight is 17 lb"]),
        (GOOD_BALL.replace("weight_lb", "wait_lb"), ["wait_lb"]),
        (GOOD_BALL.replace("reactive-solid", "rubber"), ["unknown cover kind 'rubber'"]),
        (GOOD_BALL.replace("val_deg = 30", ""), ["val_deg"]),
        ("", ["no ball in it"]),
        ("[a\n", ["not valid TOML"]),
    ):
        (empty_folder / "bad.toml").write_text(text)
        line = one_line(lanesim("balls", "--check", "bad.toml"))
        assert "bad.toml" in line and all(word in line for word in words), line


def test_a_good_ball_file_is_said_to_be_good(lanesim, empty_folder):
    (empty_folder / "good.toml").write_text(GOOD_BALL)
    result = lanesim("balls", "--check", "good.toml")
    assert result.exit_code == 0 and "in order, 1 ball\n" in result.stdout
    assert json.loads(lanesim("balls", "good.toml", "--json").stdout)["rg_in"] == 2.50


def test_a_player_file_and_what_the_options_put_on_top(lanesim, empty_folder):
    (empty_folder / "me.toml").write_text(
        'name = "me"\nhand = "left"\nspeed_mph = 17\nrev_rpm = 300\nlevel = "180"\n')
    got = json.loads(lanesim("throw", "--player", "me.toml", "--revs", "320", "--json").stdout)
    assert got["hand"] == "left"
    assert got["release"]["speed_mph"] == 17 and got["release"]["rev_rpm"] == 320


def test_ctrl_c_is_one_line_and_130(lanesim, monkeypatch):
    def interrupted(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(catalog, "load_ball", interrupted)
    result = lanesim("throw")
    assert result.exit_code == 130
    assert result.stderr.split("\n", 1)[-1].strip() == "lanesim: stopped; nothing half-written"


def test_a_reader_that_goes_away_causes_no_traceback(empty_folder):
    done = subprocess.run(
        f"'{sys.executable}' -m lanesim.cli balls --json | head -n 1", shell=True, text=True,
        capture_output=True, timeout=120, cwd=empty_folder, check=True,
    )
    assert done.stdout == "[\n"
    assert "Traceback" not in done.stderr


def test_targets_are_read():
    assert common.parse_target("10") == (10.0, None)
    assert common.parse_target("8.5@42ft") == (8.5, 42.0)
    with pytest.raises(InputError):
        common.parse_target("8@")


def test_a_target_is_a_straight_line_over_that_spot(lanesim):
    got = json.loads(lanesim("throw", "--laydown", "20", "--target", "8@42", "--json").stdout)
    # 12 boards of 41.5/39 in across in 42 ft: plain trigonometry
    expected = -np.degrees(np.arctan(12 * 41.5 / 39 / (42 * 12)))
    assert got["release"]["launch_angle_deg"] == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(("value", "plain", "with_sign"), [
    (1.25, "1.2", "+1.2"), (-0.04, "0.0", "0.0"), (-3.0, "-3.0", "-3.0"), (float("nan"), "-", "-"),
])
def test_numbers_in_tables(value, plain, with_sign):
    assert common.number(value) == plain
    assert common.signed(value) == with_sign


def test_a_plain_table_lines_up():
    text = common.plain_table(["name", "speed\n[mph]"], [["a", "17.0"], ["longer", "8.5"]])
    assert text.splitlines() == [
        "        speed",
        "name    [mph]",
        "------  -----",
        "a        17.0",
        "longer    8.5",
    ]


# --- compiling -----------------------------------------------------------------------------

ANNOUNCE = "from lanesim.cli.common import announce_compile as say; say('{kind}'); say('{kind}')"


@pytest.mark.parametrize("kind", ["path", "batch"])
def test_the_first_run_says_once_that_it_compiles(kind, tmp_path):
    fresh = {**os.environ, "NUMBA_CACHE_DIR": str(tmp_path)}
    done = subprocess.run([sys.executable, "-c", ANNOUNCE.format(kind=kind)], env=fresh, text=True,
                          capture_output=True, timeout=120, check=True)
    (line,) = done.stderr.splitlines()
    assert line.startswith("compiling the ball-motion kernels, about ") and line.endswith(", once")


def test_a_compiled_kernel_is_found_in_the_cache():
    trajectory.throw(catalog.load_ball("plastic-spare"), REFERENCE,
                     catalog.load_pattern_named("short-33"))
    assert compiled.is_kept(kernels.slide_rates)


# --- throw ---------------------------------------------------------------------------------


def test_throw_tells_the_story(lanesim):
    result = lanesim("throw")
    assert result.exit_code == 0
    for word in ("hook begins", "roll begins", "breakpoint", "entry", "outcome", "track flare",
                 "mph", "deg", "ft", "strong-solid on medium-42"):
        assert word in result.stdout


def test_the_reference_shot_is_what_issue_and_facts_ask_for(lanesim):
    """Bands read off published descriptions (facts page: 2.0-2.5 s, 14-16 turns, 2-4 mph lost)."""
    got = json.loads(lanesim("throw", "--json").stdout)
    assert got["outcome"] == "pocket"
    assert 2.0 < got["time_s"] < 2.5
    assert 2.0 < got["speed_lost_mph"] < 4.0
    assert 3.0 < got["entry_angle_deg"] < 7.0


def test_json_and_csv_hold_what_the_library_computes(lanesim, empty_folder):
    result = lanesim("throw", "--ball", "strong-asym", "--pattern", "medium-39", "--speed", "17.5",
                     "--json", "--csv", "path.csv")
    assert result.exit_code == 0 and "wrote path.csv" in result.stderr
    shot = trajectory.throw(
        catalog.load_ball("strong-asym"),
        Release(**{**common.DEFAULT_RELEASE, "speed_mph": 17.5}),
        catalog.load_pattern_named("medium-39"),
    )
    got = json.loads(result.stdout)
    assert got["entry_board"] == pytest.approx(shot.entry_board, rel=1e-12)
    assert got["y_board"] == pytest.approx(shot.y_board.tolist(), rel=1e-12)
    rows = list(csv.DictReader(io.StringIO((empty_folder / "path.csv").read_text())))
    assert len(rows) == len(shot.t_s)
    assert [float(r["y_board"]) for r in rows] == pytest.approx(shot.y_board.tolist(), rel=1e-7)


def test_both_hands_are_mirror_images_on_a_symmetric_pattern(lanesim):
    right = json.loads(lanesim("throw", "--json").stdout)
    left = json.loads(lanesim("throw", "--hand", "left", "--json").stdout)
    assert right.pop("hand") == "right" and left.pop("hand") == "left"
    assert left == right


def test_pictures_are_pictures(lanesim, empty_folder):
    result = lanesim("throw", "--out", "p.png", "--curves", "c.svg", "--flare", "deep/f.pdf")
    assert result.exit_code == 0, result.stderr
    assert (empty_folder / "p.png").read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"
    assert "<svg" in (empty_folder / "c.svg").read_text()[:1000]
    assert (empty_folder / "deep" / "f.pdf").read_bytes()[:5] == b"%PDF-"
    assert [p.name for p in (empty_folder / "deep").iterdir()] == ["f.pdf"]


@pytest.mark.slow
def test_a_real_ctrl_c_leaves_nothing_behind(empty_folder):
    running = subprocess.Popen([sys.executable, "-m", "lanesim.cli", "demo"], text=True,
                               stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    time.sleep(1.5)
    running.send_signal(signal.SIGINT)
    _, errors = running.communicate(timeout=120)
    assert running.returncode == 130
    assert "Traceback" not in errors
    assert not any(p.name.startswith(".") for p in empty_folder.rglob("*"))


# --- compare -------------------------------------------------------------------------------


def test_differences_are_from_the_first(lanesim, empty_folder):
    result = lanesim("compare", "--pattern", "medium-39", "--pattern", "long-45", "--json",
                     "--csv", "c.csv")
    short, long = json.loads(result.stdout)["variants"]
    assert set(short["differences"].values()) == {0.0}
    for name, value in long["values"].items():
        assert long["differences"][name] == pytest.approx(value - short["values"][name])
    rows = list(csv.DictReader(io.StringIO((empty_folder / "c.csv").read_text())))
    assert [r["pattern"] for r in rows] == ["medium-39", "long-45"]
    assert float(rows[1]["difference_hook_ft"]) == pytest.approx(long["differences"]["hook_ft"])


def test_long_oil_makes_it_later_and_a_dull_ball_earlier(lanesim):
    """Common practice: longer oil, later and weaker; duller, earlier (no source)."""
    short, long = json.loads(lanesim("compare", "--pattern", "medium-39", "--pattern", "long-45",
                                     "--json").stdout)["variants"]
    assert long["values"]["roll_ft"] > short["values"]["roll_ft"] + 2
    assert long["values"]["late_board"] < short["values"]["late_board"] - 2
    dull, polished = json.loads(lanesim("compare", "--finish", "1000", "--finish", "polish",
                                        "--json").stdout)["variants"]
    assert dull["values"]["hook_ft"] < polished["values"]["hook_ft"] - 3
    assert dull["values"]["late_board"] > polished["values"]["late_board"] + 3


def test_all_combinations_are_thrown_and_named_by_what_differs():
    balls = [catalog.load_ball("strong-solid"), catalog.load_ball("weak-pearl")]
    pattern = catalog.load_pattern_named("medium-42")
    made = compare.make_variants(balls, [pattern], finishes=[(1000.0, False), (2000.0, True)])
    assert [v.label for v in made] == [
        "strong-solid, 1000 grit", "strong-solid, polished",
        "weak-pearl, 1000 grit", "weak-pearl, polished"]
    assert [v.ball.cover.finish for v in made] == ["1000 grit", "polished"] * 2


def test_compare_gives_strikes_under_the_spread_as_odds_does(lanesim, empty_folder):
    """The same shots on the same line: what `odds --line given` says of the same two balls."""
    options = ["--ball", "strong-solid", "--ball", "weak-pearl", "--level", "180", "--shots", "256",
               "--seed", "4", "--laydown", "20", "--json"]
    found = json.loads(lanesim("compare", *options, "--csv", "c.csv").stdout)
    known = json.loads(lanesim("odds", *options, "--line", "given").stdout)
    assert found["spread_source"] == "assumed level 180"
    for one, ball in zip(found["variants"], known["balls"], strict=True):
        assert one["under_spread"]["pins"] == ball["pins"]
        assert one["under_spread"]["outcomes"] == ball["outcomes"]
    pairs = {pair["measure"]: pair["difference"] for pair in known["comparisons"]}
    assert found["variants"][1]["under_spread"]["differences"] == pairs
    first = found["variants"][0]["under_spread"]["differences"]
    assert first["strike"]["value"] == first["pocket"]["value"] == 0.0
    rows = list(csv.DictReader(io.StringIO((empty_folder / "c.csv").read_text())))
    pins = known["balls"][1]["pins"]
    assert float(rows[1]["strike_rate"]) == pytest.approx(pins["strike_rate"])
    assert float(rows[1]["pins_per_game"]) == pytest.approx(pins["pins_per_game"])
    shown = lanesim("compare", *options[:-1]).stdout
    for words in ("strikes", "pins per", "likeliest leaves", "assumed level 180", "model: assumed"):
        assert words in shown


def test_compare_of_the_usual_shot_alone_and_without_the_pins():
    variants = compare.make_variants([catalog.load_ball("strong-solid")],
                                     [catalog.load_pattern_named("medium-42")],
                                     finishes=[(1000.0, False), (2000.0, True)])
    alone = compare.compare(variants, REFERENCE)
    assert alone.judged == () and not alone.with_pins and alone.shots == 0
    assert alone.to_dict()["variants"][0]["under_spread"] is None
    assert "pocket_rate" not in alone.to_csv()
    no_pins = compare.compare(variants, REFERENCE, spread=release.LEVELS["200"], shots=64,
                              pins=False)
    rates = no_pins.to_dict()["variants"][1]["under_spread"]
    assert rates["pins"] is None and set(rates["differences"]) == {"pocket"}
    assert "pocket_rate" in no_pins.to_csv() and "strike_rate" not in no_pins.to_csv()
    assert compare.compare(variants, REFERENCE, spread=release.LEVELS["200"], shots=1,
                           pins=False).gain(1, "pocket") is None


def test_compare_draws_one_lane_or_several(lanesim, empty_folder):
    assert lanesim("compare", "--finish", "500", "--finish", "4000", "--out", "one.png",
                   "--curves", "curves.png").exit_code == 0
    assert lanesim("compare", "--pattern", "medium-39", "--pattern", "long-45", "--hand", "left",
                   "--out", "two.png").exit_code == 0
    assert len(list(empty_folder.glob("*.png"))) == 3


# --- sweep ---------------------------------------------------------------------------------


def test_axes_are_read():
    axis = sweep.parse_axis("speed=16:20:9")
    assert axis.values == tuple(np.linspace(16, 20, 9)) and axis.labels[1] == "16.5"
    assert sweep.parse_axis("finish=500, polish").values == ((500.0, False), (2000.0, True))
    assert sweep.parse_axis("pin = 1,3.5").values == (1.0, 3.5)


def test_each_point_of_a_grid_is_the_shot_thrown_alone():
    """The grid's bookkeeping: every point against the same engine called for that shot only.

    How near that engine is to the reference: tests/verification/test_batch_accuracy.py.
    """
    ball, pattern = catalog.load_ball("strong-asym"), catalog.load_pattern_named("lopsided-40")
    start = Release(**common.DEFAULT_RELEASE, hand="left")
    axes = [sweep.parse_axis(t) for t in ("pin=1,4.5", "speed=17,19", "finish=1000,polish")]
    found = sweep.sweep(ball, start, pattern, axes)
    assert found.shape == (2, 2, 2)
    for i, pin in enumerate(axes[0].values):
        for j, speed in enumerate(axes[1].values):
            for k, finish in enumerate(axes[2].values):
                made = replace(ball, layout=replace(ball.layout, pin_to_pap_in=pin))
                alone = trajectory.throw_many(
                    made.with_finish(*finish), replace(start, speed_mph=speed).row(), pattern,
                    hand="left")
                assert found.outcome[i, j, k] == alone.outcome[0]
                for name in sweep.MEASURES:
                    np.testing.assert_array_equal(found.values[name][i, j, k],
                                                  getattr(alone, name)[0])
    assert len(np.unique(found.values["time_s"])) == 8, "eight different shots"


def test_a_swept_laydown_keeps_its_target():
    ball, pattern = catalog.load_ball("strong-solid"), catalog.load_pattern_named("medium-42")
    axes = [sweep.parse_axis("laydown=16,20,24")]
    rows = sweep.check_grid(ball, REFERENCE, pattern, axes, (12.0, 30.0)).rows
    board, angle = rows[:, 0], rows[:, 1]
    at_30_ft = board + np.tan(np.radians(angle)) * 30 * 12 / (41.5 / 39)
    np.testing.assert_allclose(at_30_ft, 12.0, atol=1e-9)
    with_target = sweep.sweep(ball, REFERENCE, pattern, axes, target=(12.0, 30.0))
    without = sweep.sweep(ball, REFERENCE, pattern, axes)
    assert np.any(with_target.outcome != without.outcome)


def test_sweep_reports_its_progress_in_chunks(monkeypatch):
    monkeypatch.setattr(sweep, "_CHUNK", 4)
    seen = []
    ball, pattern = catalog.load_ball("strong-solid"), catalog.load_pattern_named("medium-42")
    axes = [sweep.parse_axis("finish=1000,2000,polish"), sweep.parse_axis("speed=17:19:3")]
    chunked = sweep.sweep(ball, REFERENCE, pattern, axes, progress=lambda *n: seen.append(n))
    assert seen == [(4, 9), (8, 9), (9, 9)]
    monkeypatch.setattr(sweep, "_CHUNK", 100)
    whole = sweep.sweep(ball, REFERENCE, pattern, axes)
    for name in sweep.MEASURES:
        np.testing.assert_array_equal(chunked.values[name], whole.values[name])


def test_sweep_writes_csv_json_and_pictures(lanesim, empty_folder):
    result = lanesim("sweep", "--over", "speed=17:19:3", "--over", "finish=500,polish", "--json",
                     "--csv", "g.csv", "--out", "g.png")
    assert result.exit_code == 0, result.stderr
    got = json.loads(result.stdout)
    assert np.array(got["entry_board"], dtype=float).shape == (3, 2)
    assert sum(got["counts"].values()) == 6
    rows = list(csv.DictReader(io.StringIO((empty_folder / "g.csv").read_text())))
    assert [(r["speed_mph"], r["finish_grit"]) for r in rows[:3]] == [
        ("17", "500"), ("17", "polish"), ("18", "500")]
    assert float(rows[3]["hook_ft"]) == pytest.approx(got["hook_ft"][1][1], rel=1e-7)
    one = lanesim("sweep", "--over", "finish=500,1000,polish", "--show", "hook_ft",
                  "--out", "f.png")
    assert one.exit_code == 0 and "hook begins [ft]" in one.stdout
    assert (empty_folder / "f.png").exists() and (empty_folder / "g.png").exists()


# --- balls, demo ---------------------------------------------------------------------------


def test_balls_lists_and_shows(lanesim):
    listed = lanesim("balls").stdout
    assert all(name in listed for name in catalog.ball_names())
    shown = lanesim("balls", "strong-asym").stdout
    assert "asymmetric" in shown and "assumed" in shown
    numbers = json.loads(lanesim("balls", "--json").stdout)
    assert [n["name"] for n in numbers] == catalog.ball_names()


@pytest.mark.slow
def test_demo_writes_what_its_contents_say(lanesim, empty_folder):
    result = lanesim("demo")
    assert result.exit_code == 0, result.stderr
    folder = empty_folder / "lanesim-demo"
    manifest = json.loads((folder / "manifest.json").read_text())
    named = {entry["file"] for entry in manifest["files"]}
    assert {p.name for p in folder.iterdir()} == named | {"contents.txt", "manifest.json"}
    contents = (folder / "contents.txt").read_text()
    assert all(name in contents for name in named)
    assert any(name.endswith(".png") for name in named)
    assert any(name.endswith(".csv") for name in named)
    assert manifest["seed"] == 1
