"""Traps of compiled code, each held by a test.

A Fortran-ordered grid silently compiles a second signature. The answer must not depend on the
number of threads. The reference's work is counted in evaluations, not seconds. How compiled code is
kept on disk: tests/test_kept_code.py.
"""

from __future__ import annotations

import ast
import os
import subprocess
import sys
import textwrap
from importlib import import_module
from pathlib import Path

import numpy as np
import pytest
from numba.core.dispatcher import Dispatcher

import lanesim
from lanesim.catalog import load_ball, load_pattern_named, named_spread
from lanesim.motion import kernels, reference, setup
from lanesim.player import Release, sample_releases

PACKAGE = Path(lanesim.__file__).parent
KERNELS = PACKAGE / "motion" / "kernels"
COMPILERS = {"njit", "jit", "prange", "vectorize", "guvectorize", "cfunc"}


def imported_modules(path: Path) -> set[str]:
    """Every module that a file imports anywhere in it; relative ones with their dots."""
    names = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            names.add("." * node.level + (node.module or ""))
    return names


def test_kernels_import_nothing_of_ours_from_outside():
    """Their stamp covers this folder alone: nothing that they compile may come from elsewhere."""
    outside = {"__future__", "collections", "math", "numpy", "numba"}
    for path in KERNELS.glob("*.py"):
        names = {name for name in imported_modules(path) if not name.startswith(".")}
        assert not any(name.split(".")[0] == "lanesim" for name in names), path
        assert not any(name.startswith("..") for name in imported_modules(path)), path
        if path.stem not in {"__init__", "compiling", "store", "card"}:
            assert names <= outside, path


def test_columns_and_results_need_no_compiler():
    """A module that only reads columns imports no numba: nobody has a reason to copy a number."""
    out = run_python("""
        import sys
        from lanesim.motion import kernels as k
        from lanesim.motion.kernels import rows, method, store
        print(k.P_COUNT > 0, "numba" in sys.modules)
    """)
    assert out.split() == ["True", "False"]


def test_numba_is_used_nowhere_else_to_compile():
    """Two folders compile, each kept under its own stamp; asking numba for its threads is fine."""
    for path in PACKAGE.rglob("*.py"):
        if path.parent == KERNELS or path == PACKAGE / "pins" / "deck" / "compiling.py":
            continue
        tree = ast.parse(path.read_text(encoding="utf-8"))
        for node in ast.walk(tree):
            if isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] == "numba":
                names = {alias.name for alias in node.names}
                assert not names & COMPILERS, path
            if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
                assert not (node.value.id in {"numba", "nb"} and node.attr in COMPILERS), path


def compiled_functions() -> dict[str, Dispatcher]:
    """Every compiled function by its name, each from the module that it is written in."""
    found: dict[str, Dispatcher] = {}
    for path in KERNELS.glob("*.py"):
        if path.stem not in {"__init__", "card"}:
            module = import_module(f"lanesim.motion.kernels.{path.stem}")
            for name, value in vars(module).items():
                if isinstance(value, Dispatcher) and value.py_func.__module__ == module.__name__:
                    assert name not in found, name
                    found[name] = value
    return found


def called_from_python() -> set[str]:
    """Names of the kernels that other files of the package use."""
    names = set()
    for path in PACKAGE.rglob("*.py"):
        if path.parent != KERNELS:
            names |= {node.attr for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
                      if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name)
                      and node.value.id in {"k", "kernels"}}
    return names


def test_what_python_calls_is_kept_on_disk_and_nothing_is_fast_and_loose():
    """Kept on disk: what the package calls from Python, and only that. Of fastmath only "contract",
    one rounding for a product and a sum: the rest deletes checks for NaN or reorders sums.
    """
    from lanesim.motion.kernels.compiling import KeptCode

    compiled = compiled_functions()
    assert len(compiled) > 60
    kept = {n for n, f in compiled.items() if isinstance(f._cache, KeptCode)}
    assert kept == called_from_python() & set(compiled) == set(kernels.CALLED)
    for name, function in compiled.items():
        options = function.targetoptions
        assert options.get("fastmath", {"contract"}) == {"contract"}, name
        assert options["error_model"] == "numpy", name
        assert not (name in kept and options.get("no_cpython_wrapper")), name
        if name in kept:
            assert getattr(kernels, name) is function
    for path in KERNELS.glob("*.py"):
        if path.stem not in {"__init__", "compiling", "store", "card", "rows"}:
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                if isinstance(node, ast.FunctionDef):
                    assert node.name in compiled, f"{node.name} is not compiled"


def run_python(code: str, **environment: str) -> str:
    done = subprocess.run(
        [sys.executable, "-c", textwrap.dedent(code)], capture_output=True, text=True, check=False,
        env={**os.environ, **environment}, timeout=300,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_one_signature_per_kernel_after_mixed_calls(tmp_path):
    """Fortran-ordered grids and releases, lists, integers, both hands, several balls, read-only
    arrays: every compiled function that Python calls still has one signature each. In an empty
    cache, so that all is compiled.
    """
    out = run_python("""
        import sys
        import numpy as np
        from numba.core.dispatcher import Dispatcher
        from lanesim.catalog import load_ball, load_pattern_named
        from lanesim.player import Release
        from lanesim.motion.trajectory import throw, throw_many, throw_parameters
        from lanesim.studies.play import throw_in_turn
        from lanesim.motion import setup
        ball, other = load_ball("strong-solid"), load_ball("strong-asym")
        pattern = load_pattern_named("medium-42")
        fortran = pattern.with_volume(np.asfortranarray(pattern.volume_ul))
        whole = pattern.with_volume(np.rint(pattern.volume_ul).astype(int))
        row = Release(18, 400, 45, 15, 24, -2.5).row()
        rows = np.tile(row, (3, 1))
        for p in (pattern, fortran, whole):
            for hand in ("right", "left"):
                throw_many(ball, np.asfortranarray(rows), p, hand=hand)
        throw_many([ball, other], rows[::-1], pattern, which=[0, 1, 1], keep_paths=True)
        throw_many([ball, other], rows, pattern, which=np.array([0, 1, 1], dtype=np.int32))
        throw_many(ball, rows.astype(np.float32), pattern)
        throw_many(ball, [[24, -2, 18, 400, 45, 15, 0]], pattern)
        both = (ball, other)
        pars = np.asfortranarray([setup.parameter_vector(b, viscosity_cp=30) for b in both])
        paps = np.asfortranarray([b.inertia.pap_array for b in (ball, other)])
        frozen = pattern.film_m("right"); frozen.flags.writeable = False
        throw_parameters(paps, pars, rows, frozen, which=np.array([0, 1, 0]))
        throw_parameters(paps, pars, rows, np.asfortranarray(frozen), which=np.array([0, 1, 0]))
        throw(ball, Release(18, 400, 45, 15, 24, -2.5), fortran)
        throw(ball, Release(18, 400, 45, 15, 24, -2, hand="left"), whole)
        throw_in_turn(pattern.volume_ul[None], 30, [ball, other], [False, True], rows,
                      np.array([0, 1, 0]), np.zeros(3, int))
        found = {}
        for name, module in list(sys.modules.items()):
            if name.startswith("lanesim.motion.kernels."):
                found |= {n: len(v.signatures) for n, v in vars(module).items()
                          if isinstance(v, Dispatcher) and v.signatures}
        for name, count in sorted(found.items()):
            print(name, count)
    """, NUMBA_CACHE_DIR=str(tmp_path))
    counts = {line.split()[0]: int(line.split()[1]) for line in out.splitlines()}
    from_python = called_from_python() & set(counts)
    assert {"throw_chunk", "slide_derivative", "roll_derivative", "release_state",
            "carry_oil"} <= from_python
    assert {n: counts[n] for n in from_python if counts[n] != 1} == {}
    # Nor is anything else compiled twice for nothing: to numba a number known to be 0 at first is
    # a type of its own. The laws are: for an array and for a lane's tuple, with and without q.
    laws = {"slide_law", "roll_law", "body_rates_free", "to_lane", "contact_slip", "weigh_film",
            "asperity_share", "mixed_friction", "axis_rate_squared", "track_film_rate",
            "roll_inertia", "stop_slip"}
    assert {name for name, count in counts.items() if count > 1} <= laws, counts


def test_batch_does_not_depend_on_the_number_of_threads():
    """Bit for bit with 1, 2, 3 and 4 threads (more than this machine's cores is allowed)."""
    out = run_python("""
        import hashlib, numpy as np
        from lanesim.motion import batch
        from lanesim.catalog import load_ball, load_pattern_named, named_spread
        from lanesim.player import Release, sample_releases
        from lanesim.motion.trajectory import throw_many
        rows = sample_releases(Release(18, 400, 45, 15, 24, -2.5), named_spread("180"), 1100, 5)
        for threads in (1, 2, 3, 4):
            batch.THREADS = threads
            t = throw_many(load_ball("strong-asym"), rows, load_pattern_named("medium-42"),
                           keep_paths=True)
            h = hashlib.sha256()
            for name in ("outcome", "entry_board", "entry_angle_deg", "time_s", "path_board",
                         "flare_in"):
                h.update(np.ascontiguousarray(getattr(t, name)).tobytes())
            print(threads, h.hexdigest())
    """)
    lines = [line.split() for line in out.splitlines()]
    assert [n for n, _ in lines] == ["1", "2", "3", "4"]
    assert len({digest for _, digest in lines}) == 1, out


@pytest.mark.parametrize("which", [[0, 1], [-1, 0], [0]])
def test_an_index_without_a_ball_is_refused(which):
    """Compiled code would read past the end of the array: refused before it is reached."""
    from lanesim.errors import InputError
    from lanesim.motion.trajectory import throw_many

    rows = np.tile(Release(18, 400, 45, 15, 24, -2.5).row(), (2, 1))
    with pytest.raises(InputError, match="index of a ball"):
        throw_many([load_ball("strong-solid")], rows, load_pattern_named("medium-42"), which=which)


def test_a_shot_does_not_depend_on_its_company():
    """The same shot alone, first or last of many: the same bits."""
    from lanesim.motion.trajectory import throw_many

    pattern, ball = load_pattern_named("medium-39"), load_ball("strong-asym")
    rows = sample_releases(Release(18, 400, 45, 15, 24, -2.5), named_spread("200"), 130, 3)
    together = throw_many(ball, rows, pattern)
    for n in (0, 63, 64, 129):
        alone = throw_many(ball, rows[n], pattern)
        for name in ("entry_board", "breakpoint_board", "time_s", "flare_in"):
            one, many = getattr(alone, name)[0], getattr(together, name)[n]
            assert np.array_equal(one, many, equal_nan=True), (n, name)


@pytest.mark.parametrize(
    ("rtol", "most"), [(1e-7, 12_000), (1e-8, 12_000), (1e-9, 14_000)]
)
def test_work_of_the_reference(rtol, most):
    """Right-hand sides for the reference shot: a guard against work that creeps up unseen.

    The limits are no physics: about one and a half times what was needed when they were written.
    Coarser than 1e-7 the solver steps over the end of slip and then slides on, stiffly, at next to
    none: how much work that is, is chance.
    """
    ball, pattern = load_ball("strong-solid"), load_pattern_named("medium-42")
    par = setup.parameter_vector(ball, viscosity_cp=pattern.viscosity_cp)
    shot = setup.shot_matrix(Release(18.6, 436, 45, 15, 24, -2.8).row())[0]
    state = setup.release_vector(shot, ball.inertia.pap_array, par)
    path = reference.integrate(state, pattern.film_m("right"), par, setup.pin_array(), rtol=rtol)
    print(f"rtol {rtol:g}: {path.evaluations} evaluations in {len(path.segments)} segments")
    assert 500 < path.evaluations < most


def test_memory_of_the_batch_is_its_outputs():
    """Rows and, only if asked for, traces: 18 numbers a shot, whatever the number of shots."""
    from lanesim.motion import batch
    from lanesim.motion import kernels as k

    ball, pattern = load_ball("strong-solid"), load_pattern_named("medium-42")
    par = setup.parameter_vector(ball, viscosity_cp=pattern.viscosity_cp)
    rows = np.tile(Release(18.6, 436, 45, 15, 24, -2.8).row(), (50, 1))
    out = batch.run(setup.shot_matrix(rows), np.zeros(50), ball.inertia.pap_array[None], par[None],
                    pattern.film_m("right"), setup.pin_array())
    assert out.rows.shape == (50, k.R_COUNT)
    assert out.traces.shape[0] == 0
