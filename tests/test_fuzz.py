"""Damaged files and mixtures of options, two thousand and one thousand: no traceback, ever.

Seeded, in one process. Readers meet the damaged files; the commands meet the options, up to the
work itself where that takes long (what is left out is said in `commands`). Every refusal must be
one short printable line that names the file, and leave with code 2.
"""

from __future__ import annotations

import random
import warnings
from collections import Counter

import pytest
from click.testing import CliRunner
from fuzzing import damaged, mixtures

from lanesim import catalog
from lanesim.bag.event import load_event
from lanesim.catalog import load_player, read_balls, read_grip, shipped_balls
from lanesim.cli import cli, common, guard
from lanesim.cli import run as long_work
from lanesim.equipment.ball_log import load_log
from lanesim.errors import InputError, control_character
from lanesim.fit.fitted import load_fitted
from lanesim.fit.shots_file import read_shots
from lanesim.lane.oil_file import load_pattern, pattern_files

FILES, MIXTURES, PARTS = 2000, 1000, 4  # parts: so that a failure is found again in a quarter
DATA = catalog.DATA
PATTERN_FILE = pattern_files()["medium-42"]

GRIP = "span_in = 4.5\npap_over_in = 5.0\npap_up_in = 0.5\nthumb = true\n"
FITTED = """format = "lanesim-fitted-1"
shots = 40
source = "my-shots.csv"
[balls.strong-solid]
friction_factor = 1.08
[patterns.medium-42]
oil_factor = 0.93
[lane]
lambda_ref_factor = 1.0
[release_offsets]
launch_angle_deg = 0.05
[intervals]
"ball_friction strong-solid" = [1.02, 1.14]
"""

# file -> (its text, how it is read)
SEEDS = {
    "balls.toml": ((DATA / "balls.toml").read_text("utf-8"), read_balls),
    "event.toml": ((DATA / "demo_event.toml").read_text("utf-8"), load_event),
    "player.toml": ((DATA / "demo_player.toml").read_text("utf-8"), load_player),
    "fitted.toml": (FITTED, load_fitted),
    "grip.toml": (GRIP, lambda path: read_grip(str(path))),
    "log.csv": ((DATA / "demo_log.csv").read_text("utf-8"),
                lambda path: load_log(path, shipped_balls())),
    "shots.csv": ((DATA / "demo_shots.csv").read_text("utf-8"), read_shots),
    "a.oil": (PATTERN_FILE.read_text("utf-8"), load_pattern),
}


@pytest.mark.parametrize("part", range(PARTS))
def test_damaged_files_are_read_or_refused_in_one_line(empty_folder, part):
    for name in ("demo_event_balls.toml", "demo_player.toml"):
        (empty_folder / name).write_bytes((DATA / name).read_bytes())
    chance = random.Random(f"files {part}")
    texts = [text for text, _ in SEEDS.values()]
    fate: Counter[str] = Counter()
    for n in range(FILES // PARTS):
        name = list(SEEDS)[n % len(SEEDS)]
        text, read = SEEDS[name]
        path = empty_folder / name
        path.write_bytes(damaged(text, texts, chance))
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            try:
                read(path)
                fate["read"] += 1
            except InputError as error:
                fate["refused"] += 1
                line = guard.one_line(str(error))
                assert name in line and len(line) <= guard.LONGEST
                assert not control_character(line)
    assert min(fate["read"], fate["refused"]) > FILES // PARTS // 20, fate


class Enough(Exception):
    """The work would begin now."""


@pytest.fixture
def commands(monkeypatch):
    """All commands; those that compile the batch, or serve the page, up to where they begin."""
    names = cli.list_commands(None)
    found = {name: cli.get_command(None, name) for name in names}

    def begin(kind: str = "path") -> None:
        if kind == "batch":
            raise Enough

    monkeypatch.setattr("lanesim.page.server.run", lambda *_, **__: begin("batch"))
    monkeypatch.setattr(long_work, "announce_compile", begin)
    monkeypatch.setattr(common, "announce_compile", begin)
    for name in names:
        module = __import__(f"lanesim.cli.{name}", fromlist=["command"])
        if hasattr(module, "announce_compile"):
            monkeypatch.setattr(module, "announce_compile", begin)
    return found


# accepted values by the name of the parameter; the rest follows from its type
GOOD = {
    "ball": ["strong-solid", "plastic-spare", "balls.toml:old-solid"],
    "balls": ["strong-solid", "weak-pearl"], "ball_specs": ["strong-solid"],
    "pattern": ["medium-42", "m.oil"], "patterns": ["medium-42", "short-33"],
    "pattern_spec": ["medium-42"], "player_file": ["player.toml"], "level": ["elite", "200"],
    "speed": ["17", "19.5"], "revs": ["300", "450"], "rotation": ["0", "60"], "tilt": ["5", "20"],
    "laydown": ["15", "25"], "angle": ["-2", "0.5"], "target": ["10", "8@42"], "shots": ["16"],
    "search_shots": ["1000"], "over": ["speed=16:18:2", "finish=500,polish"], "seed": ["0", "7"],
    "show": ["entry_board", "hook_ft"], "out": ["o.svg", "folder"], "csv": ["o.csv"],
    "grid": ["g.oil"], "after": ["a.oil"], "finish": ["2000", "polish"], "finishes": ["500"],
    "log_file": ["log.csv"], "balls_file": ["balls.toml"], "only": ["strong-solid"],
    "today": ["2026-05-01"], "event": ["2026-05-20"], "shots_csv": ["shots.csv"],
    "event_file": ["event.toml"], "folder": ["made"], "checked": ["m.oil"],
    "check_file": ["balls.toml"], "strikes": ["40", "60"], "others": ["weak-pearl"],
    "their_ball": ["weak-pearl"], "fitted_file": ["fitted.toml"], "grip_file": ["grip.toml"],
}


@pytest.mark.parametrize("part", range(PARTS))
def test_mixtures_of_options_work_or_are_refused_in_one_line(commands, empty_folder, part):
    for name in ("demo_event_balls.toml", "demo_player.toml"):
        (empty_folder / name).write_bytes((DATA / name).read_bytes())
    for name, (text, _) in SEEDS.items():
        (empty_folder / name).write_text(text, encoding="utf-8")
    (empty_folder / "m.oil").write_bytes(PATTERN_FILE.read_bytes())
    (empty_folder / "taken.png").write_bytes(b"mine")
    (empty_folder / "folder.png").mkdir()
    (empty_folder / "folder").mkdir()
    chance = random.Random(f"options {part}")
    fate: Counter[object] = Counter()
    for words in mixtures(MIXTURES // PARTS, commands, chance, GOOD, odd=0.2):
        result = CliRunner().invoke(cli, words, prog_name="lanesim")
        told = f"{words} gave {result.exit_code}: {result.stderr[-500:]}"
        if result.exit_code == guard.OUR_FAULT and "Enough" in result.stderr:
            fate["begun"] += 1
            continue
        assert result.exit_code in (0, guard.WRONG), told
        fate[result.exit_code] += 1
        if result.exit_code == guard.WRONG:
            lines = [x for x in result.stderr.splitlines() if not x.startswith(("note: ", "comp"))]
            assert len(lines) == 1 and lines[0].startswith("lanesim: "), told
            assert len(lines[0]) <= len("lanesim: ") + guard.LONGEST, told
            assert not control_character(lines[0]), told
    assert min(fate[0], fate[guard.WRONG]) > MIXTURES // PARTS // 20, fate
