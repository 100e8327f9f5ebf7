"""The shipped sets of parameters: the defaults are the first, and bad files are refused."""

from __future__ import annotations

import pytest

from lanesim.equipment.cover import COVER_KINDS
from lanesim.equipment.doubt import parameter_sets, read_sets
from lanesim.errors import InputError
from lanesim.lane.friction import DEFAULT_FRICTION
from lanesim.player import LEVELS


def test_the_first_set_is_the_default() -> None:
    first = parameter_sets()[0]
    assert first.friction == DEFAULT_FRICTION
    for name, kind in COVER_KINDS.items():
        ours = first.kinds[name]
        for key in ("dry_friction", "uptake", "worn_ra_um", "strength_step", "finish_contrast"):
            # the code holds four digits
            assert getattr(ours, key) == pytest.approx(getattr(kind, key), rel=1e-3)
    assert all(first.spread(level) == spread for level, spread in LEVELS.items())


def test_some_thirty_different_sets_ship() -> None:
    sets = parameter_sets()
    assert 25 <= len(sets) <= 40 and len(set(sets)) == len(sets)


def test_a_bad_file_is_refused_in_one_line(tmp_path) -> None:
    path = tmp_path / "sets.toml"
    path.write_text('source = "x"\n[[sets]]\nfilm_share = 0.9\n')
    with pytest.raises(InputError, match="set 1: 'dry_solid' is missing or unknown"):
        read_sets(path)
