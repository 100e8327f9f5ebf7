"""What kept results depend on: every module and data file behind them, computed, none by hand."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from lanesim.bag import closure as closing
from lanesim.bag.closure import PACKAGE, SHOWS, closure, fingerprint
from lanesim.bag.conditions import ROOTS as LANES
from lanesim.bag.pairs import ROOTS as PAIRS

USE = """
import sys
sys.path[:0] = [{tests!r}, {root!r}]
from pathlib import Path
from bag_events import small_event
from lanesim.bag.cache import Cache
from lanesim.bag.plan import event_conditions, event_uses, judge
event = small_event(Path({folder!r}))
before = set(sys.modules)
uses = event_uses(event)
judge(event, uses, event_conditions(event, seed=1, cache=Cache(None)), shots=64, seed=1,
      resamples=10, cache=Cache(None))
for name, module in sorted(sys.modules.items()):
    if name.split(".")[0] == "lanesim":
        print(module.__file__)
"""
# what an event and the choice are made of, not what a record is
ABOVE = {"bag/plan.py", "bag/answers.py", "bag/choice.py", "bag/clash.py", "bag/rows.py",
         "bag/solver.py", "bag/questions.py", "bag/wear.py", "bag/event.py", "bag/work.py",
         "bag/details.py", "bag/spare_ball.py"}


@pytest.fixture()
def copy(tmp_path):
    """A copy of the package with its data, and nothing compiled."""
    place = tmp_path / "lanesim"
    shutil.copytree(PACKAGE, place, ignore=shutil.ignore_patterns("__pycache__"))
    return place


def test_an_edit_of_any_module_or_data_file_behind_a_record_gives_it_another_name(copy):
    files = closure(PAIRS, copy)
    assert {"bag/pairs.py", "bag/judging.py", "player.py", "units.py", "pins/score.py",
            "pins/outcomes.py", "streams.py", "data/carry.npz", "data/spares.npz"} <= set(files)
    kernels = {f"motion/kernels/{p.name}" for p in (copy / "motion" / "kernels").glob("*.py")}
    assert kernels and kernels <= set(files)
    assert any(f.startswith("lines/") for f in files)
    base = fingerprint.__wrapped__(PAIRS, copy)
    for name in files:
        path = copy / name
        kept = path.read_bytes()
        path.write_bytes(kept + b"\n# edited\n")
        assert fingerprint.__wrapped__(PAIRS, copy) != base, name
        path.write_bytes(kept)
    assert fingerprint.__wrapped__(PAIRS, copy) == base


def test_what_only_prints_or_draws_is_not_in_it(copy):
    base = fingerprint.__wrapped__(LANES, copy)
    for name in ("cli/bag.py", "figures/bag.py", "bag/report.py", "bag/words.py"):
        (copy / name).write_text("# edited\n")
    assert fingerprint.__wrapped__(LANES, copy) == base
    assert "studies/play.py" in closure(LANES, copy)


def test_imports_of_every_kind_are_followed(tmp_path):
    """Inside functions, of a package, of a name that is a module; not those for type checkers."""
    package = tmp_path / "house"
    files = {
        "__init__.py": "def lazy():\n    from . import attic\n",
        "a.py": "from typing import TYPE_CHECKING\nif TYPE_CHECKING:\n    from . import typed\n"
                "def f():\n    from .room import table\n",
        "room/__init__.py": "from .chair import leg\n",
        "room/chair.py": "from ..c import name\n", "b.py": "X = 'oil.dat'\n", "c.py": "",
        "typed.py": "", "attic.py": "", "cli/__init__.py": "", "data/oil.dat": "1",
        "data/other.dat": "2",
        "room/table.py": "import house.b\nfrom .. import core\n",
        "core/__init__.py": "from typing import TYPE_CHECKING\nif TYPE_CHECKING:\n"
                            "    from .first import f as f\ndef __getattr__(name):\n    pass\n",
        "core/first.py": "", "core/second.py": "",
    }
    for name, text in files.items():
        (package / name).parent.mkdir(parents=True, exist_ok=True)
        (package / name).write_text(text)
    assert set(closure(("a",), package)) == {
        "__init__.py", "a.py", "room/__init__.py", "room/table.py", "room/chair.py", "b.py", "c.py",
        "data/oil.dat", "core/__init__.py", "core/first.py"}


def test_the_closure_holds_all_that_a_record_in_truth_loads(tmp_path):
    """Against Python's own list of modules after judging an event in a fresh process."""
    root = Path(__file__).parents[1]
    text = USE.format(tests=str(root / "tests"), root=str(root), folder=str(tmp_path))
    done = subprocess.run([sys.executable, "-P", "-c", text], capture_output=True, text=True,
                          timeout=600, check=True, cwd=tmp_path)
    loaded = {str(Path(line).relative_to(PACKAGE)) for line in done.stdout.split()}
    known = set(closure(PAIRS + LANES)) | ABOVE
    missing = {f for f in loaded - known if f.split("/")[0] not in SHOWS}
    # what reads files of users decides nothing that is not in a record's name already
    readers = {"catalog.py", "checked.py", "fit/fitted.py", "lane/oil_file.py"}
    assert {f for f in missing if f not in readers and not f.startswith("fit/")} == set()
    assert closing.PACKAGE.name == "lanesim"
