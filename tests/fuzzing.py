"""Seeded damage for tests: files with mistakes in them, and mixtures of options.

Nothing here knows what a file means. Mutations are those of people (a line lost, a comma for a
point, a key misspelt), of machines (cut off, bits flipped, another encoding) and of attackers
(huge numbers, deep brackets, control characters).
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator, Sequence
from typing import Any

import click

from lanesim.cli.options import OutputFile

TOKENS = (
    "9" * 4301, "9" * 310, "1e999", "-1e999", "nan", "-inf", "inf", "1e-320", "-0.0", "0x7f",
    "1_000", "12,5", "", " ", "'", '"', '"""', "''", "[", "]", "{", "}", "[[", "]]", "=", ":", ";",
    ",", "\t", "#", "\\", "\\u0000", "\\u001b[2J", "\\ud800", "\x00", "\x1b[31m", "\x07", "\x85",
    "\u2028", "\u202e", "\ufeff", "\u65e5\u672c", "\u00bd", "\u0663", "true", "false", "1979-05-27",
    "07:32:00", "../../../etc", "/dev/zero", "a.b.c", "$x$", "%s%n", "<script>", "_", "-", "--",
    "x" * 3000, "[" * 200, "{a=" * 50, ",".join("1" * 200), "\r", "\n", "\n\n[x]\n", "9" * 13,
    "-1", "0", "1", "1e6", "0.5.5", "1e", "+", "standard", "polish", "NaN", "None",
)

# Whole values that a file's own grammar takes, so that mistakes get past it to what they mean.
VALUES = (
    "0", "-1", "1", "3", "15", "99", "1e300", "-1e300", "nan", "inf", "true", '""', '"x"', '"200"',
    "[]", "{}", "[1, 2, 3]", '["x"]', "[[1, 2], 3]", "{ x = 1 }", "2026-01-01", str(2**63 - 1),
    '"\\u0000"', '"\\u001b[2J"', '"../x.toml"', '"/dev/zero"', '"balls.toml:"', '"medium-42"',
    '"none.oil"', '"strong-solid"', '"polish"', '"100"', '"left"', '"\\u65e5$_"', '"a\\nb"', "4.5",
    "0.0", "-0.0", "1e-300", "123456789", '"' + "x" * 999 + '"', "yes", "no", "polish", "2026-02",
)


def damaged(text: str, others: Sequence[str], chance: random.Random) -> bytes:
    """The file with one to four mistakes."""
    for _ in range(chance.choice((1, 1, 1, 2, 2, 3, 4))):
        text = chance.choice(MISTAKES)(text, others, chance)
    data = text.encode("utf-8", "surrogatepass")
    return chance.choice(BYTES)(data, chance) if chance.random() < 0.15 else data


def _spot(text: str, chance: random.Random) -> int:
    return chance.randrange(len(text) + 1)


def _lines(change: Callable[[list[str], random.Random], None]) -> Callable[..., str]:
    def mistake(text: str, _others: Sequence[str], chance: random.Random) -> str:
        lines = text.split("\n")
        change(lines, chance)
        return "\n".join(lines)

    return mistake


def _drop(lines: list[str], chance: random.Random) -> None:
    del lines[chance.randrange(len(lines))]


def _double(lines: list[str], chance: random.Random) -> None:
    lines.insert(chance.randrange(len(lines)), chance.choice(lines))


def _swap(lines: list[str], chance: random.Random) -> None:
    a, b = chance.randrange(len(lines)), chance.randrange(len(lines))
    lines[a], lines[b] = lines[b], lines[a]


def _insert(text: str, _others: Sequence[str], chance: random.Random) -> str:
    at = _spot(text, chance)
    return text[:at] + chance.choice(TOKENS) + text[at:]


def _overwrite(text: str, _others: Sequence[str], chance: random.Random) -> str:
    at = _spot(text, chance)
    return text[:at] + chance.choice(TOKENS) + text[at + chance.randrange(12):]


def _value(text: str, _others: Sequence[str], chance: random.Random) -> str:
    """What stands behind an equals sign, a colon or a comma becomes something else."""
    spots = [i for i, letter in enumerate(text) if letter in "=:,"]
    if not spots:
        return text
    at = chance.choice(spots) + 1
    end = min((i for i in (text.find(mark, at) for mark in ",\n]") if i >= 0), default=len(text))
    return text[:at] + " " + chance.choice(VALUES if chance.random() < 0.8 else TOKENS) + text[end:]


def _letter(text: str, _others: Sequence[str], chance: random.Random) -> str:
    at = _spot(text, chance)
    return text[:at] + chr(chance.choice((32, 44, 48, 57, 91, 97, 122, 228))) + text[at + 1 :]


def _cut(text: str, _others: Sequence[str], chance: random.Random) -> str:
    return text[: _spot(text, chance)]


def _splice(text: str, others: Sequence[str], chance: random.Random) -> str:
    other = chance.choice(others)
    return text[: _spot(text, chance)] + other[_spot(other, chance) :]


MISTAKES = (_lines(_drop), _lines(_double), _lines(_swap), _insert, _overwrite, _cut, _splice,
            _letter, *[_value] * 6)


def _flip(data: bytes, chance: random.Random) -> bytes:
    if not data:
        return data
    at = chance.randrange(len(data))
    return data[:at] + bytes([data[at] ^ (1 << chance.randrange(8))]) + data[at + 1 :]


BYTES = (
    _flip, lambda data, chance: data[: chance.randrange(len(data) + 1)],
    lambda data, _: b"\xef\xbb\xbf" + data, lambda data, _: data.replace(b"\n", b"\r\n"),
    lambda data, _: data.decode("utf-8", "replace").encode("utf-16"), lambda _data, _: b"",
    lambda data, _: data.replace(b"\n", b"\x00"), lambda data, _: b"\xff" + data,
)

# --- options -------------------------------------------------------------------------------

ODD_WORDS = (
    "", " ", "nan", "inf", "-inf", "1e999", "-0", "9" * 400, "\u00bd", "\u0663", "\x1b[31m",
    "\udcff", "a" * 4000, "-1", "0", "1e-9", "0x10", "1_000", "1,5", "1.5.5", "/dev/null",
    "/dev/zero", ".",
    "none.toml", "none.oil", "x.toml:y:z", ".toml", ":x", "%s%n", "{}", "-", "=", "a=b", "1:2:3",
    "speed=1:2:3", "speed=nan:2:3", "speed=16:20:99999999", "laydown=,", "10@", "@", "10@nan",
    "polish", "2000", "10000000", "99999999999999999999", "$x$", "_x", "\u65e5\u672c", "taken.png",
    "taken.csv", "folder", "folder.png", "2026-02-30", "elite", "drill x", "1/0", "5 1/4", "1/3",
)


def words_of(command: click.Command, chance: random.Random, good: dict[str, Sequence[str]],
             odd: float) -> list[str]:
    """A random command line: some options, each with an accepted or an odd value."""
    words: list[str] = []
    for param in command.params:
        if isinstance(param, click.Argument):
            if chance.random() < 0.7:
                words.append(_word(param, chance, good, odd))
            continue
        if not isinstance(param, click.Option):
            continue
        # a picture takes a hundred times as long as everything else
        if chance.random() > (0.03 if isinstance(param.type, OutputFile) else 0.3):
            continue
        for _ in range(chance.choice((1, 1, 1, 2)) if param.multiple else 1):
            words.append(chance.choice(param.opts))
            if not param.is_flag:
                words += [_word(param, chance, good, odd) for _ in range(max(param.nargs, 1))]
    if chance.random() < 0.05:
        words.insert(chance.randrange(len(words) + 1), chance.choice(ODD_WORDS))
    return words


def _word(param: click.Parameter, chance: random.Random, good: dict[str, Sequence[str]],
          odd: float) -> str:
    if chance.random() < odd:
        return chance.choice(ODD_WORDS)
    known = good.get(param.name or "")
    if known is not None:
        return chance.choice(known)
    kind: Any = param.type
    if isinstance(kind, click.Choice):
        return str(chance.choice(list(kind.choices)))
    if isinstance(kind, click.IntRange):
        low = kind.min if kind.min is not None else 0
        return str(chance.choice((low, low + 1, low + 7)))
    if kind.name in {"float", "float range", "IN", "INCHES"}:
        return chance.choice(("0", "1", "2.5", "4", "10", "17.5", "-3", "45"))
    return chance.choice(ODD_WORDS)


def mixtures(count: int, commands: dict[str, click.Command], chance: random.Random,
             good: dict[str, Sequence[str]], odd: float) -> Iterator[list[str]]:
    """`count` command lines over all commands, one after the other."""
    names = sorted(commands)
    for n in range(count):
        name = names[n % len(names)]
        yield [name, *words_of(commands[name], chance, good, odd)]
