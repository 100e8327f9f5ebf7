"""The event file: what it accepts, what it refuses and in which words."""

from __future__ import annotations

import pytest

from lanesim.bag.event import AS_IS, load_event, parse_event
from lanesim.catalog import DATA
from lanesim.equipment.layout import Layout
from lanesim.errors import InputError

EVENT = """
name = "tiny"
player = "player.toml"
layouts = ["drill 50 deg, pin 4 in, VAL 35 deg", "drill 70 deg, pin 5 in, VAL 60 deg"]
finishes = ["1000", "polish"]
{top}

[limits]
carried = 2
bag_weight_lb = 50
case_lb = 6
{limits}

[[round]]
name = "one"
pattern = "medium-39"
games = 5
{round}

[[ball]]
ball = "strong-solid"
{ball}

[[ball]]
ball = "polished-pearl"
"""


def event(tmp_path, **places):
    (tmp_path / "player.toml").write_text('name = "Kim"\nspeed_mph = 17\n')
    text = EVENT.format(**({"top": "", "limits": "", "round": "", "ball": ""} | places))
    return parse_event(text, "tiny.toml", tmp_path)


def test_the_demo_event_reads_as_written():
    found = load_event(DATA / "demo_event.toml")
    assert found.games == 10 and [r.pattern.name for r in found.rounds] == ["medium-39", "long-45"]
    assert found.bag_weight_lb == pytest.approx(50 - 4.5)
    by_name = {c.name: c for c in found.candidates}
    assert not by_name["anchor"].travels and by_name["anchor"].required
    assert by_name["straight"].spares_only and by_name["straight"].required
    # nobody can sand a ball that waits at the venue before the trip
    assert by_name["anchor"].finishes == ((AS_IS, False),)
    # an old ball keeps its layout as one choice, a new one has none yet
    assert [fresh for _, fresh in by_name["veteran"].layouts] == [False, True, True]
    assert all(fresh for _, fresh in by_name["hybrid"].layouts)
    assert by_name["asym-new"].layouts == ((Layout(45, 5.0, 30), True),)


def test_stages_cover_the_games(tmp_path):
    one = event(tmp_path, round="stages = [0, 1, 3]").rounds[0]
    assert [(s.first_game, s.games) for s in one.stages] == [(0, 1), (1, 2), (3, 2)]
    assert event(tmp_path).rounds[0].stages[0].games == 5


def test_finishes_follow_the_rules_of_the_event(tmp_path):
    venue = 'place = "venue"'
    for changes, home, away in (("none", 1, 1), ("before", 3, 1), ("between", 3, 3)):
        found = event(tmp_path, limits=f'finish_changes = "{changes}"', ball=venue)
        assert len(found.candidates[1].finishes) == home, changes
        assert len(found.candidates[0].finishes) == away, changes


def test_a_variant_has_its_layout_finish_and_games(tmp_path):
    found = event(tmp_path, ball='drill_anew = true')
    candidate = found.candidates[0]
    ball = candidate.variant(Layout(70, 5.0, 60), "polish", 3.0)
    assert ball.layout.pin_to_pap_in == 5.0
    assert ball.cover.polished and ball.cover.games_since_surface == 3.0
    kept = candidate.variant(candidate.ball.layout, AS_IS, 2.0)
    assert kept.cover.games_since_surface == candidate.ball.cover.games_since_surface + 2.0
    assert kept.cover.finish == candidate.ball.cover.finish


def test_paths_start_at_the_files_folder(tmp_path):
    (tmp_path / "balls.toml").write_text(
        '[mine]\nweight_lb = 14\nrg_in = 2.5\ndiff_in = 0.04\ncover = "urethane"\n'
        "drilling_deg = 50\npin_to_pap_in = 4\nval_deg = 35\n")
    (tmp_path / "player.toml").write_text('name = "Kim"\n')
    (tmp_path / "event.toml").write_text(EVENT.format(top="", limits="", round="", ball="").replace(
        '"strong-solid"', '"balls.toml:mine"'))
    assert load_event(tmp_path / "event.toml").candidates[0].name == "mine"


@pytest.mark.parametrize("places, words", [
    ({"top": "colour = 3"}, "colour"),
    ({"top": 'maximise = "most"'}, "maximise is 'most'; accepted: mean, worst, cut"),
    ({"top": 'maximise = "cut"'}, "needs cut"),
    ({"top": 'maximise = "cut"\ncut = 2000'}, "cut is 2000 pins; accepted: 1 to 1500"),
    ({"limits": "registered = -1"}, "registered is -1"),
    ({"limits": 'finish_changes = "often"'}, "accepted: none, before, between"),
    ({"round": "stages = [0, 5]"}, "to below 5"),
    ({"round": "stages = [1]"}, "from 0"),
    ({"round": "weight = 0"}, "weight 0"),
    ({"round": "weight = nan"}, "weight"),
    ({"round": "stages = [0, 2]\nstage_weights = [1]"}, "1 stage_weights for 2 stages"),
    ({"limits": "cases = [{ balls = 1, weight_lb = 5, case_lb = 6 }]"}, "case 1: case_lb 6 lb"),
    ({"top": "least_gain = -1"}, "least_gain is -1"),
    ({"ball": 'place = "attic"'}, "accepted: venue, home, new"),
    ({"ball": 'place = "venue"\ndrill_anew = true'}, "waits at the venue"),
    ({"ball": 'layouts = ["drill 50 deg, pin 4 in, VAL 35 deg"]'}, "drill_anew"),
    ({"ball": 'drill_anew = true\nlayouts = ["50x4x35"]'}, "accepted: drill 50 deg, pin 4.5 in"),
    ({"ball": 'drill_anew = true\nlayouts = ["drill 50, pin 4"]'}, "lacks val"),
    ({"ball": 'finishes = ["shiny"]'}, "finish 'shiny' is not understood"),
    ({"ball": '[[ball]]\nball = "strong-solid"'}, "listed twice"),
    ({"ball": '[[ball]]\nball = "strong-sold"'}, "did you mean 'strong-solid'"),
    ({"ball": '[lanes]\nmy_ball = "nobody"'}, "my_ball"),
])
def test_what_is_wrong_is_named_in_one_line(tmp_path, places, words):
    with pytest.raises(InputError) as caught:
        event(tmp_path, **places)
    assert words in str(caught.value) and str(caught.value).startswith("tiny.toml")
    assert "\n" not in str(caught.value)


def test_a_case_heavier_than_the_limit_is_refused(tmp_path):
    (tmp_path / "player.toml").write_text('name = "Kim"\n')
    text = EVENT.format(top="", limits="", round="", ball="").replace("= 50\ncase", "= 5\ncase")
    with pytest.raises(InputError, match="case_lb 6 lb alone is above"):
        parse_event(text, "tiny.toml", tmp_path)


def test_cases_weights_numbers_and_the_least_gain_are_read(tmp_path):
    found = event(
        tmp_path, top="least_gain = 0.3", round="stages = [0, 3]\nstage_weights = [1, 2]",
        limits="cases = [{ balls = 2, weight_lb = 40, case_lb = 6 }, { balls = 1 }]",
        ball='number = "A 12"')
    assert [(c.balls, c.weight_lb) for c in found.cases] == [(2, 34), (1, None)]
    assert [s.weight for s in found.rounds[0].stages] == [1, 2]
    assert found.least_gain == 0.3 and found.candidates[0].number == "A 12"
    assert event(tmp_path).least_gain == 0.5


def test_a_new_ball_needs_no_layout_where_the_event_gives_some(tmp_path):
    body = 'weight_lb = 14\nrg_in = 2.5\ndiff_in = 0.04\ncover = "urethane"\n'
    (tmp_path / "balls.toml").write_text(f"[bare]\n{body}\n[other]\n{body}")
    (tmp_path / "player.toml").write_text('name = "Kim"\n')
    text = EVENT.format(top="", limits="", round="", ball='place = "new"').replace(
        '"strong-solid"', '"balls.toml:bare"')
    found = parse_event(text, "tiny.toml", tmp_path).candidates[0]
    assert [layout.pin_to_pap_in for layout, _ in found.layouts] == [4.0, 5.0]
    with pytest.raises(InputError, match="ball 'bare': drilling_deg is missing"):
        parse_event(text.replace('place = "new"', ""), "tiny.toml", tmp_path)
    with pytest.raises(InputError, match="drilling_deg is missing"):
        parse_event(text.replace('layouts = [\"drill 50 deg, pin 4 in, VAL 35 deg\", ',
                                 "layouts = [").replace("layouts", "#"), "tiny.toml", tmp_path)


def test_what_is_invented_is_known(tmp_path):
    assert event(tmp_path, top="invented = true").invented == (
        "this event, its player, balls and patterns",)
    (said,) = event(tmp_path).invented  # shipped balls and patterns
    assert "ball" in said and "pattern" in said


def test_the_event_to_fill_in_reads_as_it_stands_and_with_every_key(tmp_path):
    """Every key that is explained in it is a key, and none is missing."""
    from lanesim.bag.event import (
        BallSlot,
        CaseEntry,
        EventEntry,
        LanesEntry,
        LimitsEntry,
        RoundEntry,
    )

    (tmp_path / "player.toml").write_text('name = "Kim"\n')
    text = (DATA / "new_event.toml").read_text()
    found = parse_event(text, "new.toml", tmp_path)
    assert len(found.candidates) == 3 and found.candidates[2].spares_only
    for kind in (EventEntry, LimitsEntry, LanesEntry, RoundEntry, BallSlot, CaseEntry):
        for key in kind.__struct_fields__:
            if key != "note":
                assert key in text, key


def test_check_reads_and_new_writes(tmp_path):
    from click.testing import CliRunner

    from lanesim.cli import cli

    (tmp_path / "player.toml").write_text('name = "Kim"\n')
    path = tmp_path / "mine.toml"
    done = CliRunner().invoke(cli, ["bag", "--new", str(path)], catch_exceptions=False)
    assert done.exit_code == 0 and path.read_text() == (DATA / "new_event.toml").read_text()
    done = CliRunner().invoke(cli, ["bag", str(path), "--check"], catch_exceptions=False)
    assert done.exit_code == 0
    assert "round Saturday: medium-42, 4 games" in done.stdout
    assert "ball plastic-spare: 15 lb, at home, for spares only" in done.stdout
    assert sorted(p.name for p in tmp_path.iterdir()) == ["mine.toml", "player.toml"]
    for words, said in ((["--new", str(path)], "there already"), ([], "which event"),
                        (["--new", str(tmp_path / "x.txt")], "ends in .toml"),
                        (["--new", str(path), str(path)], "no EVENT")):
        with pytest.raises(InputError, match=said):
            CliRunner().invoke(cli, ["bag", *words], catch_exceptions=False,
                               standalone_mode=False)
