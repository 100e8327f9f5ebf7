"""The default friction lands inside the published band, and moves the right way.

Band: about 0.04 averaged along a medium oil pattern and about 0.2 on dry lane: the two-zone values
of Frohlich, Am. J. Phys. 72, 1170 (2004) (facts page, S/M). Never above 0.32: the governing body's
cap on a ball's friction coefficient (facts page, S).
Tolerances from the source's rounding: "0.04" has one digit, 0.035 to 0.045; "0.2" likewise, 0.15
to 0.25.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lanesim.catalog import DEFAULT_BALL, load_ball, load_pattern_named
from lanesim.equipment.ball import Ball
from lanesim.equipment.cover import COVER_KINDS, Cover
from lanesim.equipment.layout import Layout
from lanesim.motion import setup
from lanesim.motion.kernels.friction import friction_coefficient
from lanesim.motion.trajectory import throw
from lanesim.player import Release

REFERENCE_SHOT = Release(18.6, 436, 45, 15, laydown_board=24, launch_angle_deg=-2.8)
CAP = 0.32


def ball_with(cover: Cover) -> Ball:
    return Ball("test", 15, 2.50, 0.05, 0.0, cover, Layout(50, 4, 35))


def test_average_along_a_medium_pattern():
    """Mean over distance of the friction on the oiled 42 ft, the default ball's reference shot."""
    pattern = load_pattern_named("medium-42")
    path = throw(load_ball(DEFAULT_BALL), REFERENCE_SHOT, pattern)
    oiled = path.x_ft <= pattern.length_ft
    x, mu = path.x_ft[oiled], path.friction[oiled]
    mean = np.sum(0.5 * (mu[1:] + mu[:-1]) * np.diff(x)) / (x[-1] - x[0])
    print(f"mean friction over the oiled {pattern.length_ft:g} ft: {mean:.4f}")
    assert 0.035 <= mean < 0.045


@pytest.mark.parametrize("kind", [c for c in COVER_KINDS if c != "plastic"])
def test_dry_lane(kind):
    """Reactive and urethane covers on dry lane: about 0.2. (Plastic is not what was measured.)"""
    par = setup.parameter_vector(ball_with(Cover(kind)), viscosity_cp=34.7)
    assert 0.15 <= friction_coefficient(15.0, 0.0, 0.0, 2.0, par) < 0.25


def test_dry_end_of_the_reference_shot():
    """Past the pattern the friction in force comes up to about 0.2 before the pins."""
    path = throw(load_ball(DEFAULT_BALL), REFERENCE_SHOT, load_pattern_named("medium-42"))
    assert 0.15 <= path.friction[-1] < 0.25


covers = st.builds(
    Cover,
    kind=st.sampled_from(list(COVER_KINDS)),
    grit=st.floats(500, 5000),
    polished=st.booleans(),
    games_since_surface=st.floats(0, 100),
    games_total=st.floats(0, 400),
    oil_extractions=st.integers(0, 10),
)
micron = 1e-6


@settings(max_examples=200, deadline=None)
@given(covers, st.floats(0, 25), st.floats(0, 25), st.floats(0, 15), st.floats(12, 81))
def test_never_above_the_cap_nor_below_zero(cover, lane_um, track_um, slip, viscosity_cp):
    """Any cover, film, slip and published viscosity (12-81 cP: facts page, R)."""
    par = setup.parameter_vector(ball_with(cover), viscosity_cp=viscosity_cp)
    mu = friction_coefficient(5.0, lane_um * micron, track_um * micron, slip, par)
    assert 0.0 < mu <= CAP


@settings(max_examples=200, deadline=None)
@given(covers, st.floats(0, 20), st.floats(0.001, 5), st.floats(0, 15))
def test_more_film_never_grips_better(cover, film_um, more_um, slip):
    """mu falls with film: phi falls, and the film's own share is below the dry friction."""
    par = setup.parameter_vector(ball_with(cover), viscosity_cp=34.7)
    thin = friction_coefficient(5.0, film_um * micron, 0.0, slip, par)
    thick = friction_coefficient(5.0, (film_um + more_um) * micron, 0.0, slip, par)
    assert thick <= thin + 1e-15


@settings(max_examples=200, deadline=None)
@given(st.sampled_from(list(COVER_KINDS)), st.floats(500, 4900), st.floats(0.2, 20),
       st.floats(0, 15))
def test_rougher_grips_better_in_oil(kind, grit, film_um, slip):
    """A duller finish (lower grit) carries more of its load on asperities."""
    rough, smooth = (
        friction_coefficient(
            5.0, film_um * micron, 0.0, slip,
            setup.parameter_vector(ball_with(Cover(kind, g)), viscosity_cp=34.7),
        )
        for g in (grit, grit + 100)
    )
    assert rough >= smooth
