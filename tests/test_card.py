"""The graphics card's engine, on numba's simulator: the processor's numbers, and clear refusals.

On a real card: `python -m benchmarks.gpu`.
"""

from __future__ import annotations

import os
import subprocess
import sys
import textwrap
from pathlib import Path

import numpy as np
import pytest

import lanesim
from lanesim.catalog import load_ball, load_pattern_named
from lanesim.errors import InputError
from lanesim.motion import batch, card, setup
from lanesim.player import Release

ROOT = str(Path(lanesim.__file__).parents[1])

SHOTS = """
import numpy as np
from lanesim.catalog import load_ball, load_pattern_named
from lanesim.motion import batch, setup
from lanesim.motion import kernels as k
from lanesim.player import Release

pattern = load_pattern_named("medium-42")
balls = [load_ball("strong-asym"), load_ball("plastic-spare")]
pars = np.array([setup.parameter_vector(b, viscosity_cp=pattern.viscosity_cp) for b in balls])
paps = np.array([b.inertia.pap_array for b in balls])
releases = [
    Release(18.6, 436, 45, 15, 24, -2.8), Release(17, 250, 45, 15, 20, -1),
    Release(16, 500, 75, 5, 26, -2.5, loft_ft=3.3), Release(20, 120, 0, 30, 10, -2.0),
]
shots = setup.shot_matrix(np.array([r.lofted_row() for r in releases]))
which = np.array([0, 1, 0, 1])
given = (shots, which, paps, pars, pattern.film_m("right"), setup.pin_array())
"""


def test_the_card_gives_the_processors_numbers():
    """The same steps and the same ends; rounding alone may differ (fused operations): 1e-9.

    Pocket, rolling ball, lofted ball and gutter; rows and traces.
    """
    code = SHOTS + textwrap.dedent("""
        many = batch.run(*given, keep_traces=True, engine="gpu")
        rows_only = batch.run(*given, engine="gpu")
        cpu = batch.run(*given, keep_traces=True, engine="cpu")
        assert np.array_equal(rows_only.rows, many.rows, equal_nan=True)
        ends = sorted(set(cpu.rows[:, k.R_END].astype(int)))
        assert np.array_equal(many.rows[:, k.R_STEPS], cpu.rows[:, k.R_STEPS])
        assert np.allclose(many.rows, cpu.rows, rtol=1e-9, atol=1e-9, equal_nan=True)
        assert np.allclose(many.traces, cpu.traces, rtol=1e-9, atol=1e-9, equal_nan=True)
        print(*ends)
    """)
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False,
                          timeout=300, cwd=ROOT,
                          env={**os.environ, "NUMBA_ENABLE_CUDASIM": "1", "PYTHONPATH": ROOT})
    assert done.returncode == 0, done.stderr
    assert len(done.stdout.split()) > 1, "shots that end in different ways"


def one_shot():
    ball, pattern = load_ball("strong-solid"), load_pattern_named("medium-42")
    par = setup.parameter_vector(ball, viscosity_cp=pattern.viscosity_cp)
    return (setup.shot_matrix(Release(18, 400, 45, 15, 24, -2.5).row()), np.zeros(1),
            ball.inertia.pap_array[None], par[None], pattern.film_m("right"), setup.pin_array())


def test_an_unknown_engine_is_refused(monkeypatch):
    with pytest.raises(InputError, match="engine is 'gpus'; accepted: auto, cpu, gpu"):
        batch.run(*one_shot(), engine="gpus")
    monkeypatch.setenv("LANESIM_ENGINE", "fast")
    with pytest.raises(InputError, match="engine is 'fast'"):
        batch.run(*one_shot())


def test_a_card_that_is_asked_for_and_not_there(monkeypatch):
    monkeypatch.setattr(card, "why_not", lambda: "none is plugged in")
    with pytest.raises(InputError, match="none is plugged in"):
        batch.run(*one_shot(), engine="gpu")


def test_the_card_is_taken_by_itself_for_many_shots_only(monkeypatch):
    asked: list[str] = []
    monkeypatch.setattr(card, "why_not", lambda: asked.append("asked") or "")
    monkeypatch.delenv("LANESIM_ENGINE", raising=False)
    assert batch._on_card(None, batch.CARD_FROM_SHOTS) and asked
    asked.clear()
    assert not batch._on_card(None, 1000) and not asked
    assert not batch._on_card("cpu", 10**7) and not asked
