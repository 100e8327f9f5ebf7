"""The examples of the README and of the guide's pages give what is shown there.

- `console` blocks: lines beginning with "$ " are run in a new folder, one after the other; what
  follows must come out. "..." stands for any lines.
- `python` blocks are run; the `text` block right after one must be what it prints.
- "Save this as `NAME`:" puts the block that follows into that file.

Words must agree exactly, numbers to one unit of their last shown digit: the last bit of a sine
differs between machines, and so may a rounded digit.

`python tests/test_readme.py [PAGE ...]` writes the outputs anew (look at the difference before
committing).
"""

from __future__ import annotations

import contextlib
import io
import os
import re
import shlex
import tempfile
from pathlib import Path

import pytest

from lanesim.guide import topics

ROOT = Path(__file__).parents[1]
README = ROOT / "README.md"
PAGES = [README, *topics().values()]
BLOCK = re.compile(r"^```(\w+)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
SAVE_AS = re.compile(r"[Ss]ave this as `([^`]+)`:\n\n\Z")
NUMBER = re.compile(r"[-+]?\d+(?:\.(\d+))?\Z")
ANY = "..."


def run(line: str, shown: str) -> str:
    """Standard output, then remarks of a command of the README, run in this process.

    It must succeed, unless what is shown is an error.
    """
    from click.testing import CliRunner

    from lanesim.cli import cli

    name, *words = shlex.split(line)
    assert name == "lanesim", f"the README runs something else than lanesim: {line}"
    result = CliRunner().invoke(cli, words, prog_name="lanesim")
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    assert result.exit_code == (2 if shown.startswith("lanesim: ") else 0), result.output
    remarks = [r for r in result.stderr.splitlines() if not r.startswith("compiling ")]
    return "\n".join(filter(None, [result.stdout.rstrip(), *remarks]))


def run_python(code: str, namespace: dict) -> str:
    """What the code prints."""
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        exec(compile(code, "README.md", "exec"), namespace)
    return out.getvalue().rstrip()


def same_word(shown: str, got: str) -> bool:
    """Equal, or numbers of equally many decimals that differ by one unit of the last at most."""
    if shown == got:
        return True
    a, b = (NUMBER.match(word.rstrip("*,;:)")) for word in (shown, got))
    if a is None or b is None or len(a[1] or "") != len(b[1] or ""):
        return False
    unit = 10.0 ** -len(a[1] or "")
    return abs(float(a[0]) - float(b[0])) <= 1.01 * unit


def differs(shown: str, got: str) -> str:
    """Why `got` is not what is `shown`; empty if it is."""
    want, have = shown.splitlines(), got.splitlines()
    place = 0
    for n, line in enumerate(want):
        if line.strip() == ANY:
            after = want[n + 1].split() if n + 1 < len(want) else None
            while place < len(have) and (
                after is None or not _same_line(after, have[place].split())
            ):
                place += 1
            continue
        if place >= len(have):
            return f"shown but not printed: {line}"
        if not _same_line(line.split(), have[place].split()):
            return f"shown:   {line}\nprinted: {have[place]}"
        place += 1
    return "" if place == len(have) else f"printed but not shown: {have[place]}"


def _same_line(a: list[str], b: list[str]) -> bool:
    if all(set(word) == {"-"} for word in a):  # a table's rule: as wide as its columns happen to be
        return len(a) == len(b) and all(set(word) == {"-"} for word in b)
    return len(a) == len(b) and all(map(same_word, a, b))


def steps(text: str):
    """(kind, code or command, shown output or None, span of that output) in the README's order."""
    blocks = list(BLOCK.finditer(text))
    for n, block in enumerate(blocks):
        kind, body = block[1], block[2]
        saved = SAVE_AS.search(text[: block.start()])
        if saved:
            yield "file", saved[1], body, None
        elif kind == "console":
            for part in re.finditer(r"^\$ (.*)\n((?:(?!\$ ).*\n)*)", body, re.MULTILINE):
                start = block.start(2)
                yield "command", part[1], part[2], (start + part.start(2), start + part.end(2))
        elif kind == "python":
            follows = blocks[n + 1] if n + 1 < len(blocks) else None
            if follows is not None and follows[1] == "text":
                yield "python", body, follows[2], follows.span(2)
            else:
                yield "python", body, None, None


def outputs(text: str):
    """(what was run, shown, printed, span) of every example, run in the present folder."""
    namespace: dict = {}
    for kind, what, shown, span in steps(text):
        if kind == "file":
            Path(what).write_text(shown, encoding="utf-8")
        elif kind == "command":
            yield what, shown, run(what, shown), span
        else:
            printed = run_python(what, namespace)
            if shown is not None:
                yield what, shown, printed, span


@pytest.fixture
def text() -> str:
    return README.read_text(encoding="utf-8")


@pytest.mark.parametrize("path", PAGES, ids=lambda path: path.stem)
def test_the_examples_give_what_is_shown(path, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    wrong = [f"{what}\n{why}" for what, shown, printed, _ in outputs(path.read_text("utf-8"))
             if (why := differs(shown.rstrip(), printed))]
    assert not wrong, "\n\n".join(wrong)


def test_there_are_examples_of_each_kind():
    kinds = [kind for path in PAGES for kind, *_ in steps(path.read_text("utf-8"))]
    assert kinds.count("command") >= 15 and kinds.count("python") >= 3 and kinds.count("file") >= 4


def test_the_readme_stays_short(text):
    assert len(text.splitlines()) <= 250


def test_two_one_line_commands_do_all_the_set_up(text):
    """.ci/run takes these two lines and runs them as they stand."""
    lines = [line for block in BLOCK.finditer(text) if block[1] == "sh"
             for line in block[2].splitlines()]
    assert len(lines) == 2
    assert lines[0].endswith("lanesim demo") and lines[1].endswith("pytest")


def test_every_picture_and_file_named_is_there(text):
    named = re.findall(r"\]\(((?!http|#)[^)]+)\)", text)
    assert any(name.endswith(".png") for name in named)
    for name in named:
        assert (ROOT / name).exists(), name


def test_every_command_is_mentioned(text):
    from lanesim.cli import cli

    for name in cli.list_commands(None):
        assert f"`lanesim {name}`" in text, name


@pytest.mark.parametrize(("shown", "got", "same"), [
    ("17.6", "17.6", True), ("17.6", "17.7", True), ("17.6", "17.8", False),
    ("17.6", "17.61", False), ("18", "19", True), ("18", "20", False), ("-0.4", "+0.4", False),
    ("17.6*", "17.5*", True), ("hook", "roll", False), ("17.6", "light", False),
])
def test_how_words_are_compared(shown, got, same):
    assert same_word(shown, got) is same


@pytest.mark.parametrize(("shown", "got", "same"), [
    ("a\nb", "a\nb", True), ("a", "a\nb", False), ("a\nb", "a", False),
    ("a\n...\nd", "a\nb\nc\nd", True), ("a\n...", "a\nb\nc", True), ("...\nd", "a\nb", False),
    ("--  ---", "---  ----", True), ("--  ---", "---", False),
])
def test_how_lines_are_compared(shown, got, same):
    assert (differs(shown, got) == "") is same


def write_anew(path: Path) -> None:
    """Put what the examples print now into the page; blocks with "..." stay as they are."""
    text = path.read_text(encoding="utf-8")
    home = os.getcwd()
    with tempfile.TemporaryDirectory() as folder:
        os.chdir(folder)
        try:
            done = list(outputs(text))
        finally:
            os.chdir(home)
    for what, shown, printed, (start, end) in reversed(done):
        why = differs(shown.rstrip(), printed)
        if why and ANY in shown.split():
            print(f"{path.name}: to be edited by hand: {what}\n{why}")
        elif why:
            text = text[:start] + printed + ("\n" if printed else "") + text[end:]
    path.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    import sys

    for one in map(Path, sys.argv[1:]) if sys.argv[1:] else PAGES:
        write_anew(one)
