"""The core's own exponential, logarithm and rotation series against numpy and scipy.

They exist because a library call would keep the compiler from following shots side by side.
Reference libraries: numpy (exp, log, in extended precision where the machine has it) and scipy's
Rotation. Limits are a few units of the last place, from the length of the series, not from a run.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from lanesim.catalog import load_ball, load_pattern_named
from lanesim.motion import batch, reference, setup
from lanesim.motion import kernels as k
from lanesim.motion.kernels.maths import exponential, logarithm, small_rotation
from lanesim.player import LEVELS, Release, sample_releases

EPS = np.finfo(float).eps


def test_exponential():
    """Relative error over the whole range; exact at 0; the ends are held, NaN stays NaN."""
    x = np.concatenate([np.linspace(-700, 700, 4001), np.linspace(-1, 1, 2001), [-1e-9, 1e-300]])
    exact = np.exp(x.astype(np.longdouble))
    ours = np.array([exponential(v) for v in x])
    assert np.max(np.abs((ours - exact) / exact)) < 4 * EPS
    assert exponential(0.0) == 1.0
    assert exponential(-1e6) == exponential(-700.0) > 0.0
    assert np.isnan(exponential(np.nan))


def test_logarithm():
    """Absolute error against numpy, relative to |ln x| + 1: near 1 ln x itself is tiny."""
    x = np.concatenate([np.logspace(-300, 300, 4001), np.linspace(0.4, 2.5, 2001)])
    exact = np.log(x.astype(np.longdouble))
    ours = np.array([logarithm(v) for v in x])
    assert np.max(np.abs(ours - exact) / (np.abs(exact) + 1)) < 4 * EPS
    assert logarithm(1.0) == 0.0


TURNS = [(1e-9, 1e-15), (0.3, 1e-15), (2.2, 3e-14), (4.0, 1e-9)]  # [rad], largest error


@pytest.mark.parametrize(("turn", "limit"), TURNS)
def test_small_rotation(turn, limit):
    """Quaternion of a rotation vector by series: steps turn the ball by 2.2 rad at most."""
    rng = np.random.default_rng(5)
    for _ in range(200):
        axis = rng.normal(size=3)
        vector = turn * axis / np.linalg.norm(axis)
        x, y, z, w = Rotation.from_rotvec(vector).as_quat()
        ours = np.array(small_rotation(*vector))
        if ours @ (w, x, y, z) < 0:
            ours = -ours
        assert np.max(np.abs(ours - (w, x, y, z))) < limit


@pytest.mark.parametrize("power", [0.7, 1.6])
def test_batch_with_another_exponent_of_the_film_law(power):
    """The batch leaves out the power where it is 1; where it is not, it must be there."""
    ball, pattern = load_ball("strong-asym"), load_pattern_named("medium-42")
    rows = sample_releases(Release(18, 400, 45, 15, 24, -2.5), LEVELS["200"], 20, 7)
    par = setup.parameter_vector(ball, viscosity_cp=pattern.viscosity_cp)
    film, pins, pap = pattern.film_m("right"), setup.pin_array(), ball.inertia.pap_array
    plain = par.copy()
    plain[k.P_LAMBDA_POWER] = 1.0
    par[k.P_LAMBDA_POWER] = power
    shots = setup.shot_matrix(rows)
    # two balls in one batch: the shot with exponent 1 must not change beside one without
    which = np.arange(20) % 2
    both = batch.run(shots, which, np.array([pap, pap]), np.array([par, plain]), film, pins)
    alone = batch.run(shots, which * 0, pap[None], plain[None], film, pins)
    assert np.allclose(both.rows[1::2], alone.rows[1::2], rtol=1e-9, atol=1e-9, equal_nan=True)
    for n in (0, 4):
        path = reference.integrate(
            setup.release_vector(shots[n], pap, par), film, par, pins, rtol=1e-9
        )
        assert path.final_state[1] == pytest.approx(both.rows[n, k.R_Y], abs=5e-4)  # 0.02 board
    assert np.max(np.abs(both.rows[::2, k.R_Y] - alone.rows[::2, k.R_Y])) > 0.02  # it matters
