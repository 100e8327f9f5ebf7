"""What a search for a line may spend."""

from __future__ import annotations

from dataclasses import dataclass

from ..errors import check_range, nearest_name


@dataclass(frozen=True)
class Effort:
    """Shots and lines of each step of a search; see `search.find`.

    first : shots of the spread on every candidate. finalists : lines that go on to the next step.
    second : shots at each of three angles on each of those. decide : the same shots on each of the
    best few after that; 0: no such step, the best rated line is taken. few : how many those are.
    moves : how often the walk from the best of them may go on at each distance; distances : at how
    many of `decide.WALK_STEPS`.
    """

    name: str
    first: int
    finalists: int
    second: int
    decide: int = 0
    few: int = 4
    moves: int = 4
    distances: int = 2

    def __post_init__(self) -> None:
        check_range("first shots", self.first, 8, 100_000)
        check_range("finalists", self.finalists, 1, 100)
        check_range("second shots", self.second, 8, 100_000)
        check_range("deciding shots", self.decide, 0, 1_000_000)
        check_range("lines decided among", self.few, 1, 100)
        check_range("moves", self.moves, 0, 100)
        check_range("distances", self.distances, 0, 2)


QUICK = Effort("quick", first=20, finalists=4, second=32)
THOROUGH = Effort("thorough", first=32, finalists=8, second=32, decide=1024, few=6)
EFFORTS = {effort.name: effort for effort in (QUICK, THOROUGH)}


def effort_of(effort: str | Effort) -> Effort:
    """An effort by its name, or one's own.

    Raises
    ------
    InputError
        for a name that is not known.
    """
    if isinstance(effort, Effort):
        return effort
    if effort not in EFFORTS:
        raise nearest_name(str(effort), EFFORTS, "effort")
    return EFFORTS[effort]
