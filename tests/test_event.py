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
