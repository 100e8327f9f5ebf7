"""Searches for a line against brute force, on random cases that no search was tuned on.

    python benchmarks/lines.py [--cases 100:104] [--seeds 1:4]

A case is a ball with random layout and finish, a pattern, a spread and a release, drawn from
SeedSequence([case, 909]). Brute force: a lattice of 1 board by 0.1 degrees over every line whose
mean shot comes near the pocket, 128 shots each; the best 30 again on 1,024 other shots; the best 3
of those on 4,096. Each search's line is then thrown with the same 2,048 fresh shots as that one;
printed is how far it is behind (below 0: it found a line between the lattice's). About a minute a
case on one idle core.
"""

from __future__ import annotations

import argparse
from dataclasses import replace

import numpy as np

from lanesim.bag.judging import default_parts, game_of
from lanesim.bag.search import better_lines, find_lines
from lanesim.catalog import ball_names, load_ball, load_pattern_named, pattern_names
from lanesim.equipment.cover import parse_finish
from lanesim.equipment.layout import Layout
from lanesim.lines.lineup import ANGLE_RANGE, LAYDOWN_RANGE, Thrower, entry_values, find_line
from lanesim.player import LEVELS, Release, Spread, normal_deviates

CASE_STAGE, DEVIATE_STAGE = 909, 77
FINISHES = ("500", "1000", "2000", "4000", "polish")
AIMS = ("pocket", "pins")


def random_case(number: int):
    """(ball, pattern, level, release) of a case."""
    rng = np.random.default_rng(np.random.SeedSequence([number, CASE_STAGE]))
    names = [b for b in ball_names() if b != "plastic-spare"]
    ball = load_ball(names[rng.integers(len(names))])
    grit, polished = parse_finish(FINISHES[rng.integers(len(FINISHES))])
    layout = Layout(*(float(rng.uniform(*span)) for span in ((35, 85), (2.5, 5.5), (25, 65))))
    cover = ball.cover.refreshed(grit, polished).played(float(rng.uniform(0, 10)))
    patterns = pattern_names()
    pattern = load_pattern_named(patterns[rng.integers(len(patterns))])
    level = list(LEVELS)[rng.integers(len(LEVELS))]
    release = Release(
        speed_mph=float(rng.uniform(15.5, 20)), rev_rpm=float(rng.uniform(250, 500)),
        rotation_deg=float(rng.uniform(25, 70)), tilt_deg=float(rng.uniform(5, 22)))
    return replace(ball, layout=layout, cover=cover), pattern, level, release


class Judge:
    """Throws lines (k, 2) of a case and says what they are worth."""

    def __init__(self, number: int) -> None:
        self.number = number
        self.ball, self.pattern, self.level, self.release = random_case(number)
        self.spread: Spread = LEVELS[self.level]
        self.thrower = Thrower(self.ball, self.pattern, self.release.hand)

    def lattice(self) -> np.ndarray:
        """Lines whose mean shot arrives within 4 boards of the pocket."""
        boards = np.arange(LAYDOWN_RANGE[0], LAYDOWN_RANGE[1] + 0.01, 1.0)
        angles = np.arange(ANGLE_RANGE[0], ANGLE_RANGE[1] + 0.001, 0.1)
        lines = np.stack(np.meshgrid(boards, angles, indexing="ij"), axis=-1).reshape(-1, 2)
        rows = np.tile(self.release.row(), (len(lines), 1))
        rows[:, :2] = lines
        entry = self.thrower.throw(rows).entry_board
        return lines[(entry > 13.5) & (entry < 21.5)]

    def worth(self, lines: np.ndarray, shots: int, stage: int) -> dict[str, np.ndarray]:
        """Pocket rate [%] and pins per game (k,) of each line on the same shots."""
        deviates = normal_deviates(shots, 6, self.number + stage, DEVIATE_STAGE)
        deviates = deviates * self.spread.array()
        pocket, pins = [], []
        for line in lines:
            rows = np.tile(self.release.row(), (shots, 1))
            rows[:, :2] = line
            rows[:, :6] += deviates
            t = self.thrower.throw(rows)
            entry = t.entry_board, t.entry_angle_deg, t.entry_speed_mph
            pocket.append(100.0 * entry_values(*entry, None).mean())
            pins.append(float(game_of(default_parts().of_shots(*entry).mean(axis=0))))
        return {"pocket": np.array(pocket), "pins": np.array(pins)}

    def brute(self) -> dict[str, np.ndarray]:
        """The best line of the lattice for each aim."""
        lines = self.lattice()
        first, out = self.worth(lines, 128, 0), {}
        for aim in AIMS:
            some = lines[np.argsort(-first[aim])[:30]]
            some = some[np.argsort(-self.worth(some, 1024, 1000)[aim])[:3]]
            out[aim] = some[self.worth(some, 4096, 2000)[aim].argmax()]
        return out

    def searches(self, seed: int) -> dict[str, tuple[str, np.ndarray]]:
        """name -> (aim, line) of every search."""
        found = find_line(self.ball, self.pattern, self.release, self.spread, shots=64, seed=seed,
                          with_map=False).release
        rest = (self.thrower.paps, self.thrower.pars, self.thrower.film, self.release,
                self.spread, default_parts())
        quick = find_lines(*rest, shots=64, seed=seed)
        known = np.stack([quick.laydown_board, quick.launch_angle_deg], axis=1)[:, None]
        better, _ = better_lines(*rest, seed=seed, starts=quick.starts, known=known)
        return {"lineup": ("pocket", np.array([found.laydown_board, found.launch_angle_deg])),
                "bag, quick": ("pins", known[0, 0]), "bag, thorough": ("pins", better[0])}


def main() -> None:
    """Run and print."""
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--cases", default="100:104")
    options.add_argument("--seeds", default="1:4")
    given = options.parse_args()
    cases, seeds = (range(*map(int, t.split(":"))) for t in (given.cases, given.seeds))
    behind: dict[str, list[float]] = {}
    for number in cases:
        judge = Judge(number)
        best = judge.brute()
        print(f"case {number}: {judge.ball.name}, {judge.ball.cover.finish}, {judge.pattern.name}, "
              f"{judge.level}", flush=True)
        found = [judge.searches(seed) for seed in seeds]
        for name, (aim, _) in found[0].items():
            lines = np.vstack([best[aim], *[f[name][1] for f in found]])
            worth = judge.worth(lines, 2048, 3000)[aim]
            behind.setdefault(name, []).extend(worth[0] - worth[1:])
            print(f"  {name:14s} {aim} {worth[0]:6.1f} by brute force; behind:",
                  " ".join(f"{w:.2f}" for w in worth[0] - worth[1:]), flush=True)
    print("\nbehind brute force (lineup: points of the pocket rate; bag: pins a game)")
    for name, values in behind.items():
        print(f"  {name:14s} mean {np.mean(values):.2f}, median {np.median(values):.2f}, nine in "
              f"ten below {np.percentile(values, 90):.2f}, worst {np.max(values):.2f} "
              f"({len(values)} searches)")


if __name__ == "__main__":
    main()
