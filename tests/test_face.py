"""`import lanesim` as a student's notebook uses it: names, settings, errors in one line."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest

import lanesim
from lanesim.player import Release


def test_importing_the_package_loads_nothing_heavy():
    code = ("import lanesim, sys; assert 'throw' in dir(lanesim); "
            "print(*(m for m in ('numpy', 'numba', 'scipy', 'matplotlib') if m in sys.modules))")
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == ""


def test_every_name_offered_is_there():
    assert {*lanesim.__all__} == {"__version__", *lanesim._HOMES}
    for name in lanesim.__all__:
        assert getattr(lanesim, name) is not None
    with pytest.raises(AttributeError, match=r"it offers .*throw"):
        _ = lanesim.trow


def test_names_objects_and_settings_give_the_same_shot():
    by_name = lanesim.throw("weak-pearl", pattern="medium-39", speed=17, revs=350)
    from lanesim.catalog import load_ball, load_pattern_named

    by_object = lanesim.throw(load_ball("weak-pearl"), Release(speed_mph=17, rev_rpm=350),
                              load_pattern_named("medium-39"))
    assert by_name.entry_board == by_object.entry_board


@pytest.mark.parametrize(("call", "words"), [
    (lambda: lanesim.throw("medium-42"), "unknown ball 'medium-42'"),
    (lambda: lanesim.throw(Release()), "ball is a Release; accepted: a Ball"),
    (lambda: lanesim.throw("strong-solid", "medium-42"), "release is a str; accepted"),
    (lambda: lanesim.throw(pattern=42), "pattern is a int; accepted"),
    (lambda: lanesim.throw(speed=45), "speed is 45 mph; accepted: 8 to 32 mph"),
    (lambda: lanesim.throw(sped=17), "unknown setting 'sped'; known: speed"),
    (lambda: lanesim.lineup(player="champion"), "champion"),
    (lambda: lanesim.sweep(over={"sped": [17, 18]}), "sped"),
    (lambda: lanesim.score(101), "strikes is 101 %; accepted: 0 to 100 %"),
])
def test_what_cannot_be_is_one_line(call, words):
    with pytest.raises(lanesim.InputError) as caught:
        call()
    assert words in str(caught.value) and "\n" not in str(caught.value)


def test_a_grid_is_asked_for_as_lists_or_as_the_command_takes_it():
    grid = lanesim.sweep(over={"speed": [17, 18.5], "revs": (300, 400, 3)})
    same = lanesim.sweep(over=["speed=17,18.5", "revs=300:400:3"])
    assert grid.shape == (2, 3)
    np.testing.assert_array_equal(grid.values["entry_board"], same.values["entry_board"])
    # an upper corner by itself: the grid's order is that of the names
    one = lanesim.sweep(over={"speed": [18.5], "revs": [400]})
    np.testing.assert_array_equal(one.values["entry_board"][0, 0], grid.values["entry_board"][1, 2])


@pytest.fixture(scope="module")
def results():
    """One of each, with few shots."""
    return {
        "throw": lanesim.throw("weak-pearl", pattern="medium-39"),
        "sweep": lanesim.sweep(over={"speed": [17, 18.5], "revs": (300, 400, 3)}),
        "compare": lanesim.compare(pattern=["medium-39", "long-45"], shots=64),
        "odds": lanesim.odds(["weak-pearl", "strong-solid"], shots=64, lines="given"),
        "score": lanesim.score(55),
    }


def test_a_result_is_short_on_a_screen_and_whole_as_data(results):
    for name, result in results.items():
        assert len(repr(result)) < 250 and "\n" not in repr(result), name
        assert 1 < len(str(result).splitlines()) <= 20, name
        assert "array(" not in str(result)
        assert isinstance(result.to_dict(), dict)
        header, *rows = result.to_csv().splitlines()
        assert "," in header and rows, name
        page = result._repr_html_()
        assert page.count("<table>") == page.count("</table>") >= 1, name


def test_texts_in_a_notebook_are_escaped():
    from lanesim.results import Story

    story = Story("<b>", [("a", "<script>")], ["&"], [["<i>"]], ["1 < 2"])
    assert not any(tag in story.html() for tag in ("<script>", "<i>", "<b>"))


def test_every_result_draws_itself(results):
    for name, result in results.items():
        figure = result.plot()
        assert figure.get_size_inches()[0] > 3, name


def test_a_data_frame_needs_a_library_that_is_there(results, monkeypatch):
    import types

    made = types.SimpleNamespace(DataFrame=lambda columns: columns)
    monkeypatch.setitem(sys.modules, "pandas", made)
    columns = results["sweep"].to_dataframe()
    assert all(len(column) == 2 for column in columns.values())
    monkeypatch.setitem(sys.modules, "pandas", None)
    monkeypatch.setitem(sys.modules, "polars", None)
    with pytest.raises(lanesim.InputError, match="pandas or polars"):
        results["sweep"].to_dataframe()


@pytest.mark.slow
def test_games_on_the_lane_and_on_the_cover_tell_themselves():
    from lanesim.catalog import DATA

    for result in (lanesim.transition(games=1, shots=32),
                   lanesim.wear(DATA / "demo_log.csv", shots=64)):
        assert len(str(result).splitlines()) > 2 and "<table>" in result._repr_html_()
        assert result.plot().get_size_inches()[0] > 3
