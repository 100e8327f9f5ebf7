"""The batch engine's promise, over random shots of every kind (see benchmarks/accuracy.py).

Entry board within 0.02 board and entry angle within 0.02 deg of the reference at rtol 1e-9 for at
least 99.5 % of the shots; no other outcome except within 0.05 board of an outcome's edge. The
numbers are the owner's. A hundred shots here; a thousand when marked slow.
"""

from __future__ import annotations

import numpy as np
import pytest

from benchmarks.accuracy import SHARE_WITHIN, compare, random_shots, report
from lanesim.catalog import pattern_names
from lanesim.motion import reference, setup


def check(count: int, seed: int) -> None:
    result = compare(random_shots(count, seed))
    print(report(result))
    assert np.mean(result.compared) > 0.5, "most random shots must reach a pin"
    assert np.mean(result.within[result.compared]) >= SHARE_WITHIN, report(result, 5)
    assert not result.wrong_outcome.any(), report(result, 5)


def test_a_hundred_random_shots():
    check(100, seed=2)


@pytest.mark.slow
def test_a_thousand_random_shots():
    check(1000, seed=1)


def test_the_shots_vary_in_everything():
    """The sample: every pattern, asymmetric balls, every cover, wide ranges of each input."""
    shots = random_shots(400, seed=1)
    assert set(shots.patterns) == set(pattern_names())
    assert sum(b.int_diff_in > 0.001 for b in shots.balls) > 100
    assert len({b.cover.kind for b in shots.balls}) == 5
    spread = np.ptp(shots.releases, axis=0)
    assert np.all(spread > [20, 2, 9, 400, 80, 45, 350])


@pytest.mark.parametrize("index", range(6))
def test_the_reference_itself_has_converged(index):
    """rtol 1e-9 against 1e-11: a yardstick must be far finer than 0.02 board and 0.02 deg."""
    from lanesim.catalog import load_pattern_named

    shots = random_shots(6, seed=11)
    ball, pattern = shots.balls[index], load_pattern_named(shots.patterns[index])
    par = setup.parameter_vector(ball, viscosity_cp=pattern.viscosity_cp)
    state = setup.release_vector(
        setup.shot_matrix(shots.releases)[index], ball.inertia.pap_array, par
    )
    film, pins = pattern.film_m("right"), setup.pin_array()
    coarse, fine = (
        reference.integrate(state, film, par, pins, rtol=r).final_state for r in (1e-9, 1e-11)
    )
    assert abs(coarse[1] - fine[1]) < 1e-3 * par[17]
    angle = [np.degrees(np.arctan2(s[3], s[2])) for s in (coarse, fine)]
    assert abs(angle[0] - angle[1]) < 1e-3
