"""An event with a fit: the fitted values replace the assumed ones, and the answer says so."""

from __future__ import annotations

import numpy as np
import pytest
from bag_events import TEXT, small_event

from lanesim.errors import InputError
from lanesim.event import parse_event
from lanesim.fitted import Basis, load_fitted

FIT = """
format = "lanesim-fitted-1"
shots = 40
source = "mine.csv"
seed = 1
[balls.strong-solid]
friction_factor = 0.9
roughness_factor = 1.0
[patterns.medium-39]
oil_factor = 1.2
[lane]
roughness_factor = 1.3
[release_offsets]
rotation_deg = 5.0
"""


def test_a_fit_replaces_the_assumed_values_everywhere(tmp_path):
    """Ball, pattern, lane and release, and the answer says so; the rest stays as it was."""
    (tmp_path / "fit.toml").write_text(FIT)
    plain = small_event(tmp_path)
    event = parse_event('fitted = "fit.toml"\n' + TEXT, "evening.toml", tmp_path)
    basis = Basis(load_fitted(tmp_path / "fit.toml"))
    before, after = plain.candidates[0].ball, event.candidates[0].ball
    assert after.cover.dry_friction == pytest.approx(0.9 * before.cover.dry_friction)
    assert event.candidates[1].ball == plain.candidates[1].ball
    np.testing.assert_array_equal(event.rounds[0].pattern.volume_ul,
                                  basis.pattern(plain.rounds[0].pattern).volume_ul)
    assert event.rounds[1].pattern == plain.rounds[1].pattern
    assert event.player.release.rotation_deg == plain.player.release.rotation_deg + 5
    assert event.friction == basis.friction != plain.friction
    assert event.lanes.their_ball == basis.ball(plain.lanes.their_ball)
    assert event.provenance.startswith("fitted to 40 shots") and plain.provenance == "assumed"


def test_a_missing_fit_is_refused_in_one_line(tmp_path):
    with pytest.raises(InputError, match=r"no\.toml"):
        small_event(tmp_path)
        parse_event('fitted = "no.toml"\n' + TEXT, "evening.toml", tmp_path)
