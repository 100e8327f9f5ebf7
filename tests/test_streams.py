"""Random numbers: one list of uses, the same points for a seed, and interrupts that count."""

import ast
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import lanesim
from lanesim.errors import InputError
from lanesim.streams import Stage, normal_deviates, stream

PACKAGE = Path(lanesim.__file__).parent
SHARED = {"RELEASES", "CHECKS"}  # the same shots on purpose; for benchmarks and tests


def sources():
    """(path from the package, syntax tree) of every module."""
    return [(str(p.relative_to(PACKAGE)), ast.parse(p.read_text(encoding="utf-8")))
            for p in sorted(PACKAGE.rglob("*.py"))]


def test_no_number_is_used_twice():
    assert len({int(stage) for stage in Stage.__members__.values()}) == len(Stage.__members__)


def test_each_stage_is_named_in_one_module_only():
    """Two modules that name one stage would share its numbers; one that nobody names is idle."""
    users = {name: set() for name in Stage.__members__}
    for path, tree in sources():
        for node in ast.walk(tree):
            if (isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name)
                    and node.value.id == "Stage" and path != "streams.py"):
                users[node.attr].add(path)
    for name, paths in users.items():
        if name not in SHARED:
            assert len(paths) == 1, f"{name} is named in {sorted(paths) or 'no module'}"


def test_nothing_else_starts_a_generator():
    """Only streams.py makes a seed sequence; elsewhere a generator may take a seed handed in."""
    for path, tree in sources():
        if path == "streams.py":
            continue
        for node in ast.walk(tree):
            if not isinstance(node, ast.Call) or not isinstance(node.func, ast.Attribute):
                continue
            name = node.func.attr
            assert name not in {"SeedSequence", "Sobol", "RandomState"}, (path, node.lineno)
            if name == "default_rng":
                assert len(node.args) == 1 and isinstance(node.args[0], ast.Name), (
                    path, node.lineno)


def test_the_numbers_of_stages_handed_over_are_names():
    """No stage is given as a bare number: it would not be in the list."""
    for path, tree in sources():
        for node in ast.walk(tree):
            if not isinstance(node, ast.Call):
                continue
            called = getattr(node.func, "id", getattr(node.func, "attr", ""))
            if called == "normal_deviates":
                given = [k.value for k in node.keywords if k.arg == "stage"] + node.args[3:]
                assert not any(isinstance(v, ast.Constant) for v in given), (path, node.lineno)


def test_equal_seeds_give_equal_points_and_stages_differ():
    a, b, c = (normal_deviates(64, 6, s, st) for s, st in (
        (3, Stage.RELEASES), (3, Stage.RELEASES), (3, Stage.MOVE_JUDGE)))
    assert np.array_equal(a, b) and not np.array_equal(a, c)
    # fewer points are the first of more
    assert np.array_equal(normal_deviates(40, 6, 3), a[:40])
    one, two = (stream(Stage.PLAY_SHOTS, 5, 0, player).random(4) for player in (0, 1))
    assert not np.array_equal(one, two)


@pytest.mark.parametrize("seed", [-1, 1.5, True])
def test_a_seed_is_a_whole_number(seed):
    with pytest.raises(InputError, match="seed"):
        stream(Stage.RELEASES, seed)


INTERRUPTED = """
import signal
import numpy as np
from lanesim.streams import normal_deviates

load, came = np.load, []

def interrupted(*args, **kwargs):
    if not came:
        came.append(True)
        signal.raise_signal(signal.SIGINT)
    return load(*args, **kwargs)

np.load = interrupted
try:
    points = normal_deviates(16, 6, 1)
except KeyboardInterrupt:
    print("stopped")
else:
    print("swallowed", len(np.unique(points[:, 0])), "different points")
print(len(came), len(np.unique(normal_deviates(16, 6, 1)[:, 0])))
"""


def test_an_interrupt_while_the_table_is_read_is_not_swallowed():
    """scipy reads it on the first draw of a process: Ctrl-C there stops and harms no other."""
    run = subprocess.run([sys.executable, "-c", INTERRUPTED], capture_output=True, text=True)
    assert run.stdout.split() == ["stopped", "1", "16"], run.stdout + run.stderr


def test_points_that_are_all_alike_are_refused(monkeypatch):
    from scipy.stats import qmc

    monkeypatch.setattr(qmc.Sobol, "random", lambda self, n: np.full((n, 6), 0.25))
    with pytest.raises(RuntimeError, match="alike"):
        normal_deviates(16, 6, 1)
    assert normal_deviates(1, 6, 1).shape == (1, 6)  # one point has nothing to differ from
