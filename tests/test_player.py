"""The player's spread: what its numbers and links mean, for shots and at the arrows."""

import math

import numpy as np
import pytest

from lanesim.catalog import load_player
from lanesim.errors import InputError
from lanesim.lane.geometry import BOARD_M
from lanesim.player import (
    ARROW_RANGE_BOARDS,
    LEVELS,
    RANGE_OF_TEN,
    Release,
    Spread,
    level_spread,
    normal_deviates,
    sample_releases,
)
from lanesim.units import FOOT_M

SDS = (0.7, 0.2, 0.3, 12.0, 2.0, 1.5)
LINKED = Spread(*SDS, link_speed_revs=0.6, link_laydown_angle=-0.5)


def test_without_links_each_number_varies_by_itself():
    deviates = normal_deviates(64, 6, 3)
    assert np.array_equal(Spread(*SDS).deviations(deviates), deviates * np.array(SDS))


def test_links_are_correlations_and_leave_the_standard_deviations():
    """Cov of jointly normal numbers (textbook): rho s1 s2; 65,536 even points know it to 1 %."""
    rows = sample_releases(Release(), LINKED, 65536, 4)[:, :6]
    assert rows.std(axis=0) == pytest.approx(SDS, rel=0.01)
    found = np.corrcoef(rows.T)
    want = np.eye(6)
    want[2, 3] = want[3, 2] = 0.6
    want[0, 1] = want[1, 0] = -0.5
    assert found == pytest.approx(want, abs=0.01)
    assert LINKED.covariance() == pytest.approx(want * np.outer(SDS, SDS))


@pytest.mark.parametrize("link", [0.0, -0.4, 0.3])
@pytest.mark.parametrize("level", ARROW_RANGE_BOARDS)
def test_a_level_is_what_is_seen_at_the_arrows(level, link):
    """Variance 15 ft out, laydown plus angle with their covariance (D): (range / 3.08) squared."""
    spread = level_spread(level, sd_speed_mph=0.2, sd_rev_rpm=8.0, sd_rotation_deg=1.5,
                          link_laydown_angle=link)
    per_degree = 15.0 * FOOT_M / BOARD_M * math.pi / 180.0
    out = np.array([1.0, per_degree])
    across = out @ spread.covariance()[:2, :2] @ out
    # the SDs are rounded to a thousandth
    assert math.sqrt(across) == pytest.approx(ARROW_RANGE_BOARDS[level] / RANGE_OF_TEN, rel=0.006)


def test_levels_grow_from_the_elite_down():
    for better, worse in zip(list(LEVELS)[:-1], list(LEVELS)[1:], strict=True):
        assert np.all(LEVELS[better].array() <= LEVELS[worse].array())


def test_a_player_file_may_say_how_numbers_go_together(tmp_path):
    path = tmp_path / "me.toml"
    path.write_text('name = "me"\n[spread]\nlink_speed_revs = 0.5\n')
    assert load_player(path).spread.link_speed_revs == 0.5
    path.write_text('name = "me"\n[spread]\nlink_speed_revs = 1.0\n')
    with pytest.raises(InputError, match="link_speed_revs is 1"):
        load_player(path)


def test_links_alone_are_no_spread():
    with pytest.raises(InputError, match="empty"):
        Spread(0, 0, 0, 0, 0, 0, link_speed_revs=0.5)
