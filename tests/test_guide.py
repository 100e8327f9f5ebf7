"""`lanesim guide`: every page is listed, readable in a terminal, and names what it should."""

from __future__ import annotations

import pytest
from click.testing import CliRunner

from lanesim.cli import cli
from lanesim.fit.shots_file import RELEASE_COLUMNS, RESULT_COLUMNS, TEXT_COLUMNS
from lanesim.guide import page, title, topics


def said(*words: str):
    return CliRunner().invoke(cli, ["guide", *words], prog_name="lanesim")


def test_the_list_names_every_topic_with_its_title():
    result = said()
    assert result.exit_code == 0
    for name in topics():
        assert name in result.output and title(name) in result.output


@pytest.mark.parametrize("name", topics())
def test_a_page_is_plain_text_of_a_terminals_width(name):
    result = said(name)
    assert result.exit_code == 0 and result.output.strip() == page(name).strip()
    prose = page(name).split("```")[::2]
    assert max(len(line) for part in prose for line in part.splitlines()) <= 100
    assert len(title(name)) < 70


def test_an_unknown_topic_offers_the_nearest():
    result = said("shot")
    assert result.exit_code == 2
    assert "did you mean 'shots'?" in result.stderr


def test_the_page_on_shots_names_every_column():
    text = page("shots")
    for name in (*RELEASE_COLUMNS, *RESULT_COLUMNS, *TEXT_COLUMNS, "board_at_40ft"):
        assert f"\n    {name}" in text or f", {name}" in text, name
