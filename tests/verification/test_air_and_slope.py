"""Air drag, a lane that is not level, loft and the oil's temperature, against closed forms.

Status beside each: D derived here in the open, M textbook from memory. Each law goes through the
reference and the batch: both must give the closed form.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from core_setup import DRY, MIDDLE_M, NO_PINS, WIDE_M, bare_parameters, start_state

from lanesim.catalog import load_ball, load_pattern_named
from lanesim.errors import InputError
from lanesim.lane.friction import DEFAULT_FRICTION, FrictionModel
from lanesim.lane.surface import LEVEL_TOLERANCE_IN, Lane, load_lane
from lanesim.lane.viscosity import viscosity_at
from lanesim.motion import batch, reference, setup
from lanesim.motion import kernels as k
from lanesim.motion.trajectory import throw, throw_many
from lanesim.player import Release
from lanesim.units import FOOT_M, GRAVITY_MS2, INCH_M

MASS = 6.8
DRAG = 0.0111  # [kg/m]: rho Cd pi R^2/2 of a ball, about
END = 12.0  # [m]


def reference_end(par: np.ndarray, velocity, omega, y: float = MIDDLE_M):
    path = reference.integrate(start_state(velocity=velocity, omega=omega, par=par, y=y), DRY, par,
                               NO_PINS, rtol=1e-10)
    assert path.end == k.END_PAST
    return path.final_state, path.final_time


def batch_end(par: np.ndarray, speed: float, spin: float, y: float = MIDDLE_M, loft: float = 0.0):
    """Straight release with `spin` about +y: columns of the row, and the heights at each foot."""
    shot = np.array([[y, 0.0, speed, spin, 0.0, 0.0, 0.0, loft]])
    out = batch.run(shot, np.zeros(1), np.array([[1.0, 0, 0]]), par[None], DRY, NO_PINS,
                    keep_traces=True)
    assert out.rows[0, k.R_END] == k.END_PAST
    return out.rows[0], out.traces[0]


# --- air drag -----------------------------------------------------------------------------------


def test_drag_of_a_ball_without_friction():
    """D: m dv/dt = -c v^2 gives v = v0 exp(-c x/m) and t = (exp(c x/m) - 1) m/(c v0)."""
    par = bare_parameters(mu=0.0, end_x=END)
    par[k.P_DRAG] = DRAG
    speed = 8.0
    v = speed * math.exp(-DRAG * END / MASS)
    t = (math.exp(DRAG * END / MASS) - 1.0) * MASS / (DRAG * speed)
    state, time = reference_end(par, (speed, 0.0), (0.0, 30.0, 0.0))
    assert state[2] == pytest.approx(v, rel=1e-8) and time == pytest.approx(t, rel=1e-8)
    row, _ = batch_end(par, speed, 30.0)
    assert row[k.R_VX] == pytest.approx(v, rel=1e-6) and row[k.R_TIME] == pytest.approx(t, rel=1e-6)


def test_drag_of_a_rolling_ball():
    """D: rolling, (m + I/R^2) dv/dt = -c v^2: v = v0 exp(-c x/(m (1 + kappa))), 5/7 as strong."""
    par = bare_parameters(mu=0.2, end_x=END)
    par[k.P_DRAG] = DRAG
    speed = 7.0
    v = speed * math.exp(-DRAG * END / (1.4 * MASS))
    spin = speed / par[k.P_RADIUS]
    state, _ = reference_end(par, (speed, 0.0), (0.0, spin, 0.0))
    assert state[2] == pytest.approx(v, rel=1e-8)
    row, _ = batch_end(par, speed, spin)
    assert row[k.R_VX] == pytest.approx(v, rel=1e-6)


def test_the_drag_that_a_ball_gets():
    """M: 0.5 rho Cd A v^2; at 8 m/s, Cd 0.5, 1.20 kg/m^3 and a 8.55 in ball 0.71 N."""
    area = math.pi * (4.275 * 0.0254) ** 2
    force = DEFAULT_FRICTION.drag_kgm() * 8.0**2
    assert force == pytest.approx(0.5 * 1.20 * 0.5 * area * 64.0, rel=1e-12)
    assert 0.70 < force < 0.72
    par = setup.parameter_vector(load_ball("strong-solid"), viscosity_cp=34.7)
    assert par[k.P_DRAG] == DEFAULT_FRICTION.drag_kgm()


# --- tilt and crown -----------------------------------------------------------------------------


def test_a_tilted_lane_without_friction():
    """D: a = -g tilt/width, y = y0 + a t^2/2: 0.040 in moves a ball of 2.2 s by 0.9 boards."""
    lane = Lane(tilt_in=-LEVEL_TOLERANCE_IN)
    a = GRAVITY_MS2 * 0.040 / 41.5
    assert lane.side_acceleration_ms2 == pytest.approx(a, rel=1e-12)
    par = bare_parameters(mu=0.0, end_x=END)
    par[k.P_TILT] = a
    state, time = reference_end(par, (8.0, 0.0), (0.0, 30.0, 0.0))
    assert state[1] - MIDDLE_M == pytest.approx(0.5 * a * time**2, rel=1e-8)
    row, _ = batch_end(par, 8.0, 30.0)
    assert row[k.R_Y] - MIDDLE_M == pytest.approx(0.5 * a * (END / 8.0) ** 2, abs=1e-7)
    assert 0.8 < 0.5 * a * 2.2**2 / (41.5 / 39 * INCH_M) < 0.95


def test_a_tilted_lane_while_rolling():
    """D: a rolling ball takes 1/(1 + kappa) = 5/7 of the slope's acceleration (textbook top)."""
    a = 0.01
    par = bare_parameters(mu=0.2, end_x=END)
    par[k.P_TILT] = a
    spin = 7.0 / par[k.P_RADIUS]
    state, time = reference_end(par, (7.0, 0.0), (0.0, spin, 0.0))
    assert state[1] - MIDDLE_M == pytest.approx(0.5 * a / 1.4 * time**2, rel=1e-7)
    row, _ = batch_end(par, 7.0, spin)
    assert row[k.R_Y] - MIDDLE_M == pytest.approx(0.5 * a / 1.4 * (END / 7.0) ** 2, abs=2e-6)


@pytest.mark.parametrize("crown", [0.04, -0.04])
def test_a_crowned_lane_without_friction(crown):
    """D: a = c (y - middle), c = 8 g crown/width^2: cosh(sqrt(c) t), or cos for a dish."""
    c = Lane(crown_in=crown).crown_acceleration_s2
    assert c == pytest.approx(8 * GRAVITY_MS2 * crown / 41.5**2 / INCH_M, rel=1e-12)
    par = bare_parameters(mu=0.0, end_x=END)
    par[k.P_CROWN] = c
    off = 0.4
    rate = math.sqrt(abs(c)) * END / 8.0
    want = 0.5 * WIDE_M + off * (math.cosh(rate) if crown > 0 else math.cos(rate))
    state, _ = reference_end(par, (8.0, 0.0), (0.0, 30.0, 0.0), y=0.5 * WIDE_M + off)
    assert state[1] == pytest.approx(want, abs=1e-8)
    row, _ = batch_end(par, 8.0, 30.0, y=0.5 * WIDE_M + off)
    assert row[k.R_Y] == pytest.approx(want, abs=1e-6)


def test_a_left_hander_sees_the_tilt_mirrored():
    """One edge higher: the ball leans to the other, and that is another side for a left-hander."""
    ball, pattern = load_ball("strong-solid"), load_pattern_named("medium-42")
    assert pattern.is_symmetric
    lane = Lane(tilt_in=0.04)
    ends = {}
    for hand in ("right", "left"):
        release = Release(laydown_board=24, launch_angle_deg=-2.8, hand=hand)
        for name, on in (("level", None), ("tilted", lane)):
            ends[hand, name] = throw(ball, release, pattern, lane=on).y_board[-1]
            many = throw_many(ball, release.row(), pattern, hand=hand, lane=on)
            assert many.end_board[0] == pytest.approx(ends[hand, name], abs=0.02)
    assert ends["left", "level"] == ends["right", "level"]
    # left edge higher: down to the right, lower boards for a right-hander, higher for a left-hander
    assert 0.2 < ends["right", "level"] - ends["right", "tilted"] < 3.0
    assert 0.2 < ends["left", "tilted"] - ends["left", "level"] < 3.0


def test_a_lane_file(tmp_path):
    path = tmp_path / "lane.toml"
    path.write_text("tilt_in = 0.03\ntemperature_f = 75\n")
    assert load_lane(path) == Lane(tilt_in=0.03, temperature_f=75)
    assert load_lane(path).within_tolerance and not Lane(crown_in=0.05).within_tolerance
    for text, word in (("tilt_in = 3", "tilt_in"), ("slope = 1", "slope"),
                       ("tilt_in = 'a'", "tilt_in")):
        path.write_text(text)
        with pytest.raises(InputError, match=word) as error:
            load_lane(path)
        assert "lane.toml" in str(error.value) and "\n" not in str(error.value)


# --- loft ---------------------------------------------------------------------------------------


def test_a_lofted_ball_flies_straight_and_then_slides():
    """D: to the touch-down as thrown; from there the sphere on constant friction, mu g t^2/2."""
    mu, speed, loft = 0.04, 8.0, 5.3 * FOOT_M
    par = bare_parameters(mu=mu, end_x=END)
    par[k.P_LOFT] = loft
    want_v = math.sqrt(speed**2 - 2 * mu * GRAVITY_MS2 * (END - loft))  # no spin: it slides on
    state, time = reference_end(par, (speed, 0.0), (0.0, 0.0, 0.0))
    assert state[2] == pytest.approx(want_v, rel=1e-8)
    assert time == pytest.approx(loft / speed + (speed - want_v) / (mu * GRAVITY_MS2), rel=1e-8)
    row, _ = batch_end(par, speed, 1e-9, loft=loft)
    assert row[k.R_VX] == pytest.approx(want_v, rel=1e-6)
    assert row[k.R_LOFT] == loft


def test_a_ball_in_the_air_takes_no_oil_and_turns_as_before():
    ball, pattern = load_ball("strong-asym"), load_pattern_named("medium-42")
    rows = np.array([Release(laydown_board=24, launch_angle_deg=-2.8, loft_ft=4).lofted_row(),
                     Release(laydown_board=24, launch_angle_deg=-2.8).lofted_row()])
    many = throw_many(ball, rows, pattern, keep_paths=True)
    assert np.all(many.track_film_um[0, :4] == 0.0) and np.all(many.track_film_um[1, 1:5] > 0.0)
    straight = math.tan(math.radians(-2.8)) * 4 * FOOT_M / (41.5 / 39 * INCH_M)
    assert many.path_board[0, 4] - many.path_board[0, 0] == pytest.approx(straight, abs=1e-3)
    for loft in (4.0, 3.37):
        release = Release(laydown_board=24, launch_angle_deg=-2.8, loft_ft=loft)
        one = throw(ball, release, pattern, rtol=1e-9)
        two = throw_many(ball, release.lofted_row(), pattern)
        with pytest.raises(InputError, match="loft"):
            release.row()
        assert abs(one.entry_board - two.entry_board[0]) < 0.02
        assert abs(one.entry_angle_deg - two.entry_angle_deg[0]) < 0.02
    assert abs(many.entry_board[0] - many.entry_board[1]) > 0.02


# --- temperature --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("at_40c", "at_100c"), [(22.0, 4.3), (32.0, 5.4), (46.0, 6.8)]
)
def test_viscosity_follows_the_standard_grades(at_40c, at_100c):
    """M: kinematic viscosities of mineral oils of the standard's grades 22, 32, 46, index near 95.

    As thick at 70 F as lane oils are. The slope comes from grade 32 alone; the others' values at
    100 C are then met within 3 %.
    """
    rho = 0.86
    got = viscosity_at(viscosity_cp=at_40c * rho, temperature_f=212.0, given_at_f=104.0) / rho
    assert got == pytest.approx(at_100c, rel=0.03)


def test_warm_oil_is_thinner_and_a_pattern_s_own_viscosity_holds_at_70():
    assert viscosity_at(viscosity_cp=34.7, temperature_f=70.0) == pytest.approx(34.7, rel=1e-12)
    warm, cold = (viscosity_at(viscosity_cp=34.7, temperature_f=t) for t in (80.0, 60.0))
    assert 25 < warm < 30 and 42 < cold < 50
    thick = viscosity_at(viscosity_cp=81.0, temperature_f=80.0) / 81.0
    assert thick < viscosity_at(viscosity_cp=12.0, temperature_f=80.0) / 12.0 < 1.0
    model = FrictionModel(lane=Lane(temperature_f=80.0))
    par = setup.parameter_vector(load_ball("strong-solid"), viscosity_cp=34.7, friction=model)
    assert par[k.P_VISCOSITY] == pytest.approx(warm * 1e-3, rel=1e-12)


# --- parameters by name -------------------------------------------------------------------------


def test_parameters_are_varied_by_name():
    model = DEFAULT_FRICTION.varied({
        "film_share": 0.4, "drag_coefficient": 0.0, "temperature_f": 75.0,
        "dry_friction:reactive-solid": 0.25, "uptake:reactive-solid": 0.15})
    ball, other = load_ball("strong-solid"), load_ball("plastic-spare")
    assert ball.cover.kind == "reactive-solid"
    plain = setup.parameter_vector(ball, viscosity_cp=30)
    par = setup.parameter_vector(ball, viscosity_cp=30, friction=model)
    from lanesim.equipment.cover import COVER_KINDS

    kind = COVER_KINDS["reactive-solid"]
    assert par[k.P_CHI] == 0.4 and par[k.P_DRAG] == 0.0
    assert par[k.P_MU_DRY] == pytest.approx(plain[k.P_MU_DRY] * 0.25 / kind.dry_friction)
    assert par[k.P_UPTAKE] == pytest.approx(plain[k.P_UPTAKE] * 0.15 / kind.uptake)
    same = setup.parameter_vector(other, viscosity_cp=30, friction=model)
    assert same[k.P_MU_DRY] == setup.parameter_vector(other, viscosity_cp=30)[k.P_MU_DRY]
    assert DEFAULT_FRICTION.varied({}) == DEFAULT_FRICTION
    for wrong, near in (("film_shar", "film_share"), ("uptake", "uptake:KIND")):
        with pytest.raises(InputError, match=near):
            DEFAULT_FRICTION.varied({wrong: 0.3})
    with pytest.raises(InputError, match="reactive-solid"):
        setup.parameter_vector(ball, viscosity_cp=30,
                               friction=DEFAULT_FRICTION.varied({"uptake:reactve-solid": 0.3}))
