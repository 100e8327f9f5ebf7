"""Oil and covers as the plan itself leaves them, and the questions that a player asks."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from bag_events import small_event

from lanesim.bag import words
from lanesim.bag.answers import Crack, OldNew, RoundGain
from lanesim.bag.cache import Cache
from lanesim.bag.conditions import Condition, Thrown, event_conditions, event_uses
from lanesim.bag.plan import plan
from lanesim.bag.questions import round_gains
from lanesim.bag.wear import balls_worn, games_before, mixed, worn


def uses_of(event, *names):
    """Index of the first use of each named ball."""
    uses = event_uses(event)
    return [next(v for v, u in enumerate(uses) if u.variant.ball == n) for n in names]


def stages(event) -> list[Condition]:
    """Two rounds of 4 and 2 games, in stages of 2."""
    pattern = event.rounds[0].pattern
    return [Condition(0, "one", 0, 2, 0.3, pattern), Condition(0, "one", 2, 2, 0.3, pattern),
            Condition(1, "two", 0, 2, 0.4, pattern)]


def test_a_balls_games_are_those_that_the_plan_gives_it(tmp_path):
    """By hand: the solid is thrown in the first stage and in round two, the pearl between."""
    event = small_event(tmp_path)
    solid, pearl, hybrid = uses_of(event, "strong-solid", "weak-pearl", "medium-hybrid")
    uses, here = event_uses(event), stages(event)
    planned = (solid, pearl, solid)

    def games(v):
        return [games_before(uses, here, planned, v, c) for c in range(3)]

    assert games(solid) == [(0, 1), (0, 3), (2, 1)]
    assert games(pearl) == [(0, 1), (0, 1), (2, 1)]
    # one that stays at home is as worn as the one that it would stand in for
    assert games(hybrid) == [(0, 1), (0, 1), (2, 1)]
    assert games_before(uses, here, None, solid, 1) == (0.0, 1.0)


def test_covers_have_practice_and_games_on_them(tmp_path):
    event = small_event(tmp_path)
    (solid,) = uses_of(event, "strong-solid")
    use = event_uses(event)[solid]
    ball = worn(event, use, 2.0, 1.0)
    assert ball.cover.games_total == use.ball.cover.games_total + event.finish_games + 3.0
    # where finishes may change between rounds, a new finish is as old as the round
    new = replace(use, variant=replace(use.variant, finish="500", new_finish=True))
    fresh = worn(replace(event, finish_changes="between"), new, 2.0, 1.0)
    assert fresh.cover.games_since_surface == 1.0 and fresh.cover.grit == 500
    assert fresh.cover.games_total == ball.cover.games_total
    rows = balls_worn(event, event_uses(event), stages(event), None)
    assert len(rows) == 3 and sum(b is None for b in rows[0]) == 1  # the ball for spares


def test_the_lane_wears_by_what_is_thrown_on_it(tmp_path):
    """Two plans for the first stage that lie ten boards apart: each takes the oil of its own line,
    and only the lanes of later stages know of it."""
    event, cache = small_event(tmp_path), Cache(None)
    ball = event.candidates[0].ball
    by_line = {}
    for board in (12.0, 24.0):
        first = Thrown.told(ball, board, -1.0)
        found = event_conditions(event, seed=1, cache=cache, thrown=[first] * 3)
        fresh = event.rounds[0].pattern.volume_ul
        assert np.array_equal(found[0].pattern.volume_ul, fresh)
        taken = (fresh - found[1].pattern.volume_ul)[5:30].sum(axis=0)  # boards from the right
        by_line[board] = float(taken @ np.arange(1, 40) / taken.sum())
        assert found[1].lane != found[0].lane
    assert by_line[24.0] - by_line[12.0] == pytest.approx(12.0, abs=3.0)


def test_lanes_of_several_plans_are_averaged(tmp_path):
    event = small_event(tmp_path)
    one = tuple(stages(event))
    pattern = one[0].pattern
    other = tuple(replace(c, pattern=pattern.with_volume(0.5 * pattern.volume_ul), lane="other")
                  for c in one)
    found = mixed([one, other])
    assert np.allclose(found[0].pattern.volume_ul, 0.75 * pattern.volume_ul)
    assert len({c.lane for c in (*one, *other, *found)}) == 3


def test_gains_of_a_round_are_weighted_by_games(tmp_path):
    here = stages(small_event(tmp_path))
    here[1] = replace(here[1], games=6)
    drawn = np.tile([0.01, 0.03, -0.02], (50, 1))
    one, two = round_gains(here, np.array([0.01, 0.03, -0.02]), np.array([1.0, 3.0, -2.0]), drawn)
    assert (one.name, two.name) == ("one", "two")
    assert one.strikes == pytest.approx(2.5) and one.pins == pytest.approx(2.5)
    assert one.strikes_low == pytest.approx(2.5) and two.strikes == pytest.approx(-2.0)


# --- a small plan with an old ball ----------------------------------------------------------------


@pytest.fixture(scope="module")
def old_ball_plan(tmp_path_factory):
    """One round on fresh oil; a dull ball with 400 games on it, which could be drilled anew."""
    event = small_event(tmp_path_factory.mktemp("old"))
    old = event.candidates[0]
    cover = old.ball.cover.played(400.0)
    layout = event.candidates[2].layouts[0][0]
    old = replace(old, ball=replace(old.ball, cover=cover), place="home",
                  layouts=(*old.layouts, (layout, True)))
    one = event.rounds[1]
    return plan(replace(event, candidates=(old, *event.candidates[1:2]), rounds=(one,), carried=2),
                shots=512, resamples=30)


def test_old_against_new_is_told_with_its_interval(old_ball_plan):
    (one,) = old_ball_plan.old_new
    assert one.ball == "strong-solid" and one.games == 400
    assert one.low <= one.pins <= one.high and 0 <= one.better_in <= 30
    assert [r.name for r in one.rounds] == ["long"]
    text = words.old_new_sentence(old_ball_plan, one)
    assert "400 games old" in text and f"better in {one.better_in} of 30" in text


def test_nothing_is_drilled_for_less_than_the_least_gain(old_ball_plan):
    """What the plan drills or carries brings least_gain each against every plan with less of it."""
    best = old_ball_plan.best
    assert old_ball_plan.least_gain == 0.5
    for choice in old_ball_plan.choices[1:]:
        spared = best.actions - choice.solution.actions
        assert choice.behind >= 0.5 * spared - 0.02


def test_what_to_do_if_a_ball_cracks(old_ball_plan):
    assert {c.ball for c in old_ball_plan.cracks} == set(old_ball_plan.best.drilled)
    for crack in old_ball_plan.cracks:
        assert crack.bag is not None and crack.ball not in crack.bag


def test_sentences_say_what_is_sure_and_what_is_not(old_ball_plan):
    sure = RoundGain("Saturday", 1.8, 0.4, 3.1, 2.2)
    unsure = RoundGain("Sunday", 0.1, -1.2, 1.4, 0.1)
    text = words.old_new_sentence(
        old_ball_plan, OldNew("veteran", 190.0, (sure, unsure), 1.2, 0.3, 2.0, 24))
    assert "Saturday: +1.8 strikes in a hundred" in text and "Sunday: nothing sure" in text
    assert "better in 24 of 30: a new one pays" in text
    text = words.old_new_sentence(
        old_ball_plan, OldNew("veteran", 190.0, (unsure,), 0.1, -0.5, 0.6, 15))
    assert "the old one is still good enough" in text
    crack = Crack("a", {"b": "x", "c": "y"}, ("c (y)",), 1.0, 0.5, 1.5)
    assert words.crack_bag(crack) == "c (y); with b"


def test_no_jargon_in_what_is_printed(old_ball_plan):
    said = " ".join([*words.findings(old_ball_plan), *words.certainty(old_ball_plan),
                     words.headline(old_ball_plan), *words.worries(old_ball_plan),
                     words.small_print(old_ball_plan), *words.ball_table(old_ball_plan)[0],
                     *words.advice_table(old_ball_plan)[0]]).lower()
    for word in (" hole", "adds", "resampl", "bootstrap", "program"):
        assert word not in said, word
    assert "proven for these values" in said
    assert f"in {old_ball_plan.still_best} of 30" in said
