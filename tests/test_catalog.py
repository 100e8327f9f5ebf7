"""Balls, patterns and players by name or file: what is read, and what is refused in one line."""

from __future__ import annotations

import numpy as np
import pytest

from lanesim.catalog import load_ball, load_pattern_named, load_player, read_balls
from lanesim.equipment.ball import Ball
from lanesim.equipment.cover import Cover
from lanesim.equipment.drilling import drilled_inertia
from lanesim.equipment.grip import DEFAULT_GRIP
from lanesim.equipment.layout import Layout
from lanesim.errors import InputError, InputWarning
from lanesim.motion.trajectory import throw
from lanesim.player import Release
from lanesim.units import INCH_M, LB_KG

BALL = """
[mine]
weight_lb = 15
rg_in = 2.49
diff_in = 0.054
int_diff_in = 0.018
cover = "reactive-solid"
drilling_deg = 50
pin_to_pap_in = 4.5
val_deg = 30
"""


def written(tmp_path, text, name="balls.toml"):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return path


def test_moments_are_those_of_the_radii_of_gyration():
    """I = m k^2 about each axis (definition of the radius of gyration)."""
    ball = Ball("b", 15, 2.49, 0.054, 0.018, Cover("urethane"), Layout(50, 4.5, 30))
    mass = 15 * LB_KG
    expected = [mass * (k * INCH_M) ** 2 for k in (2.49, 2.544 - 0.018, 2.544)]
    assert ball.inertia.moments_kgm2 == pytest.approx(expected, rel=1e-12)


def test_a_grip_in_the_file_makes_the_path_use_the_ball_as_drilled(tmp_path):
    cast = load_ball(str(written(tmp_path, BALL)))
    drilled = load_ball(str(written(tmp_path, BALL + 'grip = "standard"\n', "drilled.toml")))
    mass, moments, _axes, pap = drilled_inertia(
        weight_lb=15, rg_in=2.49, diff_in=0.054, int_diff_in=0.018, layout=Layout(50, 4.5, 30),
        grip=DEFAULT_GRIP,
    )
    body = drilled.inertia
    assert body.mass_kg == mass < cast.inertia.mass_kg
    np.testing.assert_array_equal(body.moments_kgm2, moments)
    np.testing.assert_array_equal(body.pap_body, pap)
    lane = load_pattern_named("medium-42")
    boards = [throw(b, Release(), lane).y_board[-1] for b in (cast, drilled)]
    assert 0.001 < abs(boards[0] - boards[1]) < 2.0


@pytest.mark.parametrize(("change", "says"), [
    (("rg_in = 2.49", "rg_in = 3.4"), "2.3 to 2.95 in"),
    (("int_diff_in = 0.018", "int_diff_in = 0.06"), "accepted: 0 to it"),
    (("weight_lb = 15", "weight_lb = 17"), "6 to 16 lb"),
    (('cover = "reactive-solid"', 'cover = "reactive-sold"'), "did you mean 'reactive-solid'"),
    (("drilling_deg = 50\n", ""), "drilling_deg"),
    (("pin_to_pap_in = 4.5", "pin_to_pap_in = 9"), "pin_to_pap_in is 9 in; accepted: 0 to 6.75"),
    (("weight_lb = 15", "wieght_lb = 15"), "wieght_lb"),
    (("[mine]", "[mine"), "not valid TOML"),
    (("val_deg = 30", 'val_deg = 30\ngrip = "no.toml"'), "no.toml"),
])
def test_a_bad_ball_file_is_refused_in_one_line(tmp_path, change, says):
    path = written(tmp_path, BALL.replace(*change))
    with pytest.raises(InputError) as caught:
        read_balls(path)
    message = str(caught.value)
    assert says in message and str(path) in message and "\n" not in message


@pytest.mark.parametrize(("change", "says"), [
    (("rg_in = 2.49", "rg_in = 2.85"), "2.46 to 2.8 in"),
    (("diff_in = 0.054", "diff_in = 0.07"), "0.06 in"),
])
def test_limits_that_an_old_ball_may_break_only_warn(tmp_path, change, says):
    """RG 2.46-2.80 in and differential 0.060 in: the standard's limits (second-hand)."""
    with pytest.warns(InputWarning, match="standard") as caught:
        read_balls(written(tmp_path, BALL.replace(*change)))
    assert says in str(caught[0].message)


def test_a_player_file_keeps_its_own_spread(tmp_path):
    text = 'name = "me"\nspeed_mph = 17\n[spread]\nsd_speed_mph = 0.35\n'
    path = written(tmp_path, text, "p.toml")
    player = load_player(path)
    assert player.release.speed_mph == 17 and player.spread.sd_speed_mph == 0.35
    assert player.spread_source == "player file"
    bad = written(tmp_path, "[spread]\nsd_sped_mph = 0.35\n", "q.toml")
    with pytest.raises(InputError, match="did you mean 'sd_speed_mph'"):
        load_player(bad)
