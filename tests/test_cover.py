"""A cover's state: its laws against an ODE solver, parameter directions, published anchors."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from lanesim.equipment.cover import (
    COVER_KINDS,
    WEAR_DOUBT,
    Cover,
    grit_roughness_ra_um,
    parse_finish,
    polish_ra_um,
    sampled_kinds,
    shifted_kind,
    table_ra_um,
)
from lanesim.errors import InputError
from lanesim.lane.geometry import FRICTION_CAP

KINDS = sorted(COVER_KINDS)
FINISHES = [(500.0, False), (1000.0, False), (2000.0, False), (4000.0, False), (2000.0, True)]
GAMES = st.floats(0.0, 400.0)


def solved(rate, start, games):
    """Value after `games` of dy/dn = rate(y), by scipy's solver."""
    found = solve_ivp(lambda _, y: rate(y), (0.0, games), [start], rtol=1e-10, atol=1e-13)
    return found.y[0, -1]


# --- the laws against their differential equations -------------------------------------------


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(("grit", "polished"), FINISHES)
def test_finish_follows_its_differential_equation(kind, grit, polished):
    """dRa/dn = -(Ra - Ra_worn)/tau, integrated by solve_ivp (D)."""
    cover = Cover(kind, grit, polished)
    worn, tau = cover.parameters.worn_ra_um, cover.surface_efold_games
    for games in (3.0, 20.0, 90.0):
        expected = solved(lambda ra, w=worn, t=tau: -(ra - w) / t, cover.prepared_ra_um, games)
        assert cover.played(games).ra_um == pytest.approx(expected, rel=1e-8)


@pytest.mark.parametrize("kind", KINDS)
def test_soaking_with_extractions_follows_its_differential_equations(kind):
    """Two stores fill as dp/dg = (size - p)/tau; an extraction empties one of them (D)."""
    law = COVER_KINDS[kind]
    r, tau = law.extraction_recovery, law.soak_efold_games
    cover, far, near = Cover(kind), 0.0, 0.0
    for games, extract in ((40.0, True), (75.0, False), (10.0, True), (200.0, False)):
        cover = cover.played(games)
        far = solved(lambda p: (1.0 - r - p) / tau, far, games)
        near = solved(lambda q: (r - q) / tau, near, games)
        assert cover.soaked_share == pytest.approx(far + near, rel=1e-8)
        if extract:
            cover, near = cover.extracted(), 0.0
            assert cover.soaked_share == pytest.approx(far + near, rel=1e-8)


@given(spells=st.lists(GAMES, min_size=1, max_size=6), kind=st.sampled_from(KINDS),
       finish=st.sampled_from(FINISHES), extracted=st.booleans())
def test_games_add_up_whatever_the_spells(spells, kind, finish, extracted):
    """Stepping through a log must not depend on how the games are split over its lines."""
    start = Cover(kind, *finish, games_since_surface=5.0, games_total=60.0)
    if extracted:
        start = start.extracted()
    split = start
    for games in spells:
        split = split.played(games)
    whole = start.played(sum(spells))
    for name in ("ra_um", "soaked_share", "dry_friction", "uptake"):
        assert getattr(split, name) == pytest.approx(getattr(whole, name), rel=1e-12, abs=1e-15)


def test_unknown_dates_of_extractions_stay_what_they_were_when_games_go_on():
    """Two extractions in 90 games, dates unknown: the last is taken 30 games ago, then 40."""
    before = Cover("reactive-solid", games_total=90.0, oil_extractions=2)
    assert before.soaked_share == pytest.approx(
        replace(before, games_since_extraction=30.0).soaked_share)
    assert before.played(10.0).games_since_extraction == pytest.approx(40.0)


# --- directions ---------------------------------------------------------------------------------


@settings(deadline=None)
@given(kind=st.sampled_from(KINDS), finish=st.sampled_from(FINISHES), start=GAMES,
       more=st.floats(0.5, 100.0))
def test_games_move_every_quantity_its_way(kind, finish, start, more):
    """Ra goes toward the worn finish, friction falls and the soaked share grows."""
    before = Cover(kind, *finish).played(start)
    after = before.played(more)
    worn = before.parameters.worn_ra_um
    assert abs(after.ra_um - worn) <= abs(before.ra_um - worn)
    assert (after.ra_um - worn) * (before.prepared_ra_um - worn) >= 0.0
    assert after.soaked_share > before.soaked_share
    assert after.dry_friction < before.dry_friction
    assert after.dry_friction < FRICTION_CAP


@pytest.mark.parametrize("kind", KINDS)
def test_uptake_falls_at_the_worn_finish(kind):
    """With the finish at rest only the oil inside counts."""
    start = replace(Cover(kind, 2000.0), games_since_surface=3000.0, games_total=3000.0)
    fresh = replace(start, games_total=3000.0, oil_extractions=1, games_since_extraction=0.0)
    assert start.uptake < fresh.uptake < Cover(kind, 2000.0).parameters.uptake * 1.01


@pytest.mark.parametrize("kind", ["urethane", "reactive-solid", "reactive-hybrid",
                                  "reactive-pearl"])
def test_dull_changes_faster_than_polished_and_a_polish_gets_rougher(kind):
    """Facts: dull faster than polished (S); physics 9: a polished ball gets rougher."""
    efolds = [Cover(kind, *f).surface_efold_games for f in FINISHES]
    assert efolds == sorted(efolds)
    dull, polish = Cover(kind, 1000.0), Cover(kind, 2000.0, True)
    for games in (1.0, 7.0, 14.0):
        moved = [
            abs(c.played(games).ra_um - c.ra_um) / abs(c.ra_um - c.parameters.worn_ra_um)
            for c in (dull, polish)
        ]
        assert moved[0] > moved[1]
    roughness = [polish.played(g).roughness_um for g in (0.0, 5.0, 20.0, 60.0)]
    assert roughness == sorted(roughness)
    assert roughness[-1] > 1.5 * roughness[0]
    assert polish.ra_um == polish_ra_um()


@pytest.mark.parametrize("kind", KINDS)
def test_extraction_gives_back_part_and_only_a_new_ball_all(kind):
    """However often oil is drawn out, friction stays below new; a refresh leaves it alone."""
    old = Cover(kind, 2000.0).played(250.0)
    once, thrice = old.extracted(), old.extracted().extracted().extracted()
    assert old.dry_friction < once.dry_friction == thrice.dry_friction < Cover(kind).dry_friction
    refreshed = old.refreshed(1000.0)
    assert refreshed.dry_friction == old.dry_friction
    assert refreshed.ra_um == grit_roughness_ra_um(1000.0)
    assert once.ra_um == old.ra_um
    assert old.as_new().dry_friction == Cover(kind).dry_friction


# What one more standard deviation of each wear parameter does to a 1000 grit cover after 40 games
# on its surface and 200 in all, one extraction 90 games ago: sign of (Ra, friction, uptake at
# fixed Ra). By the laws' formulas (D).
DIRECTIONS = {
    "worn_ra_um": (1, 0),
    "dull_efold_games": (1, 0),  # slower: still rougher
    "polish_efold_games": (0, 0),  # a 1000 grit finish has the dull e-fold
    "friction_loss": (0, -1),
    "uptake_loss": (0, 0),
    "soak_efold_games": (0, 1),  # slower: less soaked
    "extraction_recovery": (0, 1),
}


@pytest.mark.parametrize("name", list(WEAR_DOUBT))
def test_every_wear_parameter_works_in_its_direction(name):
    cover = Cover("reactive-solid", 1000.0, False, 40.0, 200.0, 1, 90.0)
    up = replace(cover, law=shifted_kind(cover.parameters, {name: 1.0}))
    down = replace(cover, law=shifted_kind(cover.parameters, {name: -1.0}))
    ra, friction = DIRECTIONS[name]
    # Differences at rounding level count as none
    assert np.sign(round(up.ra_um - down.ra_um, 12)) == ra
    assert np.sign(round(up.dry_friction - down.dry_friction, 12)) == friction
    if name == "uptake_loss":
        assert up.uptake < down.uptake


def test_every_ageing_parameter_has_its_doubt_and_status():
    ageing = set(COVER_KINDS["plastic"].__dataclass_fields__) - {
        "dry_friction", "uptake", "strength_step", "finish_contrast"}
    assert set(WEAR_DOUBT) == ageing
    assert all(d.scale > 0 and d.status for d in WEAR_DOUBT.values())


@pytest.mark.parametrize("kind", KINDS)
def test_sampled_kinds_are_possible_and_reproducible(kind):
    """Every sampled set passes the checks of CoverKind; medians lie near the stated values."""
    law = COVER_KINDS[kind]
    sets = sampled_kinds(law, 256, seed=5)
    assert sets == sampled_kinds(law, 256, seed=5)
    assert sets != sampled_kinds(law, 256, seed=6)
    for name, doubt in WEAR_DOUBT.items():
        values = np.array([getattr(s, name) for s in sets])
        if name == "dull_efold_games":
            continue  # cut where it would pass the polish's
        assert np.median(values) == pytest.approx(getattr(law, name), rel=0.1)
        spread = np.log(values / (1 - values)) if doubt.is_share else np.log(values)
        assert np.std(spread) == pytest.approx(doubt.scale, rel=0.1)


# --- anchors ------------------------------------------------------------------------------------


def test_1000_grit_plays_to_4000_to_5000():
    """Facts (R): a 1000 grit finish plays to about 4000-5000."""
    for kind in ("reactive-solid", "reactive-hybrid", "reactive-pearl"):
        worn = Cover(kind, 1000.0).played(60.0).ra_um
        assert grit_roughness_ra_um(5000.0) <= worn <= 1.05 * grit_roughness_ra_um(4000.0)


def test_most_of_the_change_is_over_when_balls_are_refreshed():
    """Facts (S): refresh at 30-60. By then a sanded finish has made most of its way."""
    for kind in ("reactive-solid", "reactive-hybrid", "reactive-pearl"):
        cover = Cover(kind, 1000.0)
        done = [1 - abs(cover.played(g).ra_um - cover.parameters.worn_ra_um)
                / abs(cover.ra_um - cover.parameters.worn_ra_um) for g in (7.0, 14.0, 30.0, 60.0)]
        assert 0.2 < done[0] < done[1] < done[2] < done[3]
        assert done[2] > 0.8
        assert done[3] > 0.95


def test_grit_table_is_read_in_logarithms():
    """Between 1000 (0.7) and 2000 (0.4) the middle in logarithms is sqrt(0.7 x 0.4) (D)."""
    middle = 1000.0 * math.sqrt(2.0)
    assert table_ra_um(middle) == pytest.approx(math.sqrt(0.7 * 0.4))
    assert grit_roughness_ra_um(middle, 1.0) == pytest.approx(math.sqrt(0.7 * 0.4))


@given(st.floats(360, 5000), st.floats(0.3, 1.0))
def test_a_hand_held_pad_leaves_a_finish_nearer_the_middle_than_its_name(grit, contrast):
    """Facts (R): a 500 grit pad left about 1650 grit. The order of finishes stays."""
    by_hand, by_name = grit_roughness_ra_um(grit, contrast), table_ra_um(grit)
    assert abs(math.log(by_hand / 0.4)) <= abs(math.log(by_name / 0.4)) + 1e-12
    assert (by_hand - 0.4) * (by_name - 0.4) >= 0.0
    assert polish_ra_um(contrast) < grit_roughness_ra_um(5000.0, contrast)


@pytest.mark.parametrize("kind", KINDS)
def test_weak_and_strong_covers_stand_on_either_side_of_the_usual(kind):
    weak, usual, strong = (Cover(kind, strength=s) for s in ("weak", "usual", "strong"))
    assert weak.dry_friction < usual.dry_friction < strong.dry_friction < FRICTION_CAP
    assert weak.uptake < usual.uptake < strong.uptake
    assert usual.dry_friction == COVER_KINDS[kind].dry_friction
    assert strong.as_new().strength == "strong"


# --- errors -------------------------------------------------------------------------------------


@pytest.mark.parametrize(("make", "words"), [
    (lambda: Cover("reactiv-solid"), "did you mean 'reactive-solid'"),
    (lambda: Cover("plastic", 100.0), "grit"),
    (lambda: Cover("plastic", strength="strongest"), "did you mean 'strong'"),
    (lambda: Cover("plastic", games_total=-1.0), "games in all"),
    (lambda: Cover("plastic", games_total=5.0, oil_extractions=1, games_since_extraction=6.0),
     "games since oil was drawn out"),
    (lambda: Cover("plastic", games_total=5.0, games_since_extraction=3.0), "0 extractions"),
    (lambda: Cover("plastic").played(-1.0), "games"),
    (lambda: replace(COVER_KINDS["plastic"], extraction_recovery=1.0), "extraction recovery"),
    (lambda: replace(COVER_KINDS["plastic"], dry_friction=0.33), "dry friction"),
    (lambda: shifted_kind(COVER_KINDS["plastic"], {"worn_ra": 1.0}), "did you mean"),
    (lambda: parse_finish("shiny"), "accepted"),
    (lambda: parse_finish("nan"), "finish"),
    (lambda: parse_finish("100 grit"), "360"),
])
def test_what_is_refused(make, words):
    with pytest.raises(InputError, match=words):
        make()


def test_finish_in_words():
    assert parse_finish("2000 grit") == (2000.0, False)
    assert parse_finish(" Polish ") == (2000.0, True)
    assert Cover("plastic", 1500.0).finish == "1500 grit"
