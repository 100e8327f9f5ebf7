"""The long pages: worked examples and file formats, as plain text that `lanesim guide` prints.

Every `TOPIC.md` in this folder is a topic. Its first line is the title; what follows is read as it
stands. The examples in them are run by the same test as the README's.
"""

from __future__ import annotations

from pathlib import Path

from ..errors import nearest_name

FOLDER = Path(__file__).parent
# in the order of reading; a page that is not named here comes last
ORDER = ("throw", "compare", "lines", "pins", "games", "spares", "drill", "shots", "bag",
         "practice", "page", "files", "python", "model")


def topics() -> dict[str, Path]:
    """Topic -> its page, in the order of reading."""
    found = {path.stem: path for path in sorted(FOLDER.glob("*.md"))}
    rank = {name: n for n, name in enumerate(ORDER)}
    return dict(sorted(found.items(), key=lambda item: rank.get(item[0], len(rank))))


def title(topic: str) -> str:
    """The title of a page."""
    return page(topic).splitlines()[0].lstrip("# ").strip()


def page(topic: str) -> str:
    """The text of a page.

    Raises
    ------
    InputError : no such topic; names the nearest.
    """
    known = topics()
    if topic not in known:
        raise nearest_name(topic, known, "topic")
    return known[topic].read_text(encoding="utf-8")
