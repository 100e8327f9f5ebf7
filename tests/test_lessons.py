"""Lessons: every number in them is computed, their files are small, their claims hold.

What a lesson claims of direction is checked against mechanics (source beside each check), not
against an earlier run.
"""

from __future__ import annotations

import io
import re

import pytest
from click.testing import CliRunner

from lanesim.cli import cli
from lanesim.lessons import LESSONS, TEXTS, fields_of, lesson, title

# what takes more than a throw or two runs in the slow tests
SLOW = {"drying-lane", "room", "speed-and-revs"}
QUICK = [name for name in LESSONS if name not in SLOW]


def test_there_is_a_text_for_each_lesson_and_no_other():
    assert {path.stem for path in TEXTS.glob("*.md")} == set(LESSONS)
    assert len(LESSONS) >= 10
    assert len({title(name) for name in LESSONS}) == len(LESSONS)


@pytest.mark.parametrize("name", LESSONS)
def test_a_text_holds_no_number_of_its_own(name):
    raw = (TEXTS / f"{name}.md").read_text(encoding="utf-8")
    assert not re.search(r"\d", re.sub(r"\{\w+\}", "", raw))
    assert fields_of(raw), "a lesson without a single computed number"


def _read(name: str):
    found = lesson(name)
    words = " ".join([found.question, *found.answers, found.happens, found.experiment])
    assert "nan" not in re.split(r"\W+", words.lower()) and "{" not in words
    assert 0 <= found.right < len(found.answers) >= 2
    used = fields_of((TEXTS / f"{name}.md").read_text(encoding="utf-8"))
    assert set(found.scene.values) - {"right"} == used, "a value that the text does not use"
    return found


@pytest.mark.parametrize("name", QUICK)
def test_a_lesson_is_computed_whole(name):
    _read(name)


@pytest.mark.slow
@pytest.mark.parametrize("name", sorted(SLOW))
def test_a_longer_lesson_is_computed_whole(name):
    _read(name)


def answer_of(name: str) -> str:
    found = lesson(name)
    return found.answers[found.right]


def test_directions_are_those_of_mechanics():
    # impulse and angular momentum of a sliding sphere: t_roll = kappa |u0| / ((1 + kappa) mu g),
    # and kappa grows with RG (textbook)
    assert answer_of("low-and-high-rg") == "the one with the low RG"
    # the slip's cross component grows with sin(rotation) (textbook kinematics)
    assert answer_of("rotation-and-tilt") == "the one with more rotation"
    # published two-zone friction 0.04 and 0.20 (Frohlich 2004, second-hand)
    assert answer_of("skid-hook-roll").startswith("several times more")
    # common practice, no source: longer oil, later and less; a sanded cover hooks earlier and more
    assert answer_of("lengths").startswith("short of it")
    assert answer_of("finish") == "the rough one"


def test_motion_is_small_and_its_frames_differ():
    from PIL import Image

    from lanesim.figures.film import film_shots, gif_bytes, html_text

    scene = lesson("lengths").scene
    film = film_shots(scene.shots, title="Two </script> lengths")
    data = gif_bytes(film)
    assert len(data) < 3_000_000
    moving = Image.open(io.BytesIO(data))
    assert moving.n_frames == len(film.time_s) > 30
    moving.seek(5)
    early = moving.convert("RGB").tobytes()
    moving.seek(40)
    assert moving.convert("RGB").tobytes() != early
    page = html_text(film)
    assert len(page.encode()) < 3_000_000
    assert "http" not in page.replace("http-equiv", "") and page.count("</script>") == 1
    # the ball starts at the foul line and ends where the path does, in the picture's pixels
    track, (_, path, _) = film.tracks[0], scene.shots[0]
    assert track.x[0] < track.x[-1] <= film.size[0] and 0 < track.y.min() < track.y.max()
    assert path.t_s[-1] <= film.time_s[-1] + 1e-9


def test_the_command_lists_tells_and_writes(tmp_path):
    run = CliRunner().invoke
    listed = run(cli, ["lesson"], prog_name="lanesim")
    assert listed.exit_code == 0 and all(name in listed.output for name in LESSONS)
    told = run(cli, ["lesson", "lengths", "--out", str(tmp_path / "les")], prog_name="lanesim")
    assert told.exit_code == 0, told.output
    assert "To try on a real lane" in told.output
    assert max(map(len, told.output.splitlines())) <= 120
    for kind in ("png", "gif", "html"):
        assert list((tmp_path / "les").glob(f"*.{kind}"))
    wrong = run(cli, ["lesson", "length"], prog_name="lanesim")
    assert wrong.exit_code == 2 and "did you mean 'lengths'?" in wrong.stderr
