"""Searches for a line against brute force, on random cases that no search was tuned on.

    python benchmarks/lines.py [--cases 100:104] [--seeds 1:4]

A case is a ball with random layout and finish, a pattern, a spread and a release, drawn from
SeedSequence([case, 909]). Brute force: a lattice of 1 board by 0.1 degrees over every line whose
mean shot comes near the pocket, 128 shots each; the best 30 again on 1,024 other shots; the best 3
of those on 4,096. Each search's line is then thrown with the same 2,048 fresh shots as that one;
printed is how far it is behind (below 0: it found a line between the lattice's). About half a
minute a case on one idle core.

Measured (mean and worst behind brute force; two seeds a case; on the patterns and frictions of that
day):

    cases                            700 to 705      800 to 805, fresh then   shots a search
    pocket, thorough [points]       -0.70,  1.76          -0.18,  1.27           18,000-20,400
    pocket, quick                   -0.35,  1.07           0.00,  1.76            1,100
    pins a game, thorough           -0.46,  0.74           0.15,  1.16           20,000-22,000
    pins, quick                      0.48,  2.08           0.19,  1.39            1,100
    pins, quick, then again          0.01,  1.40 (702 on)  0.47,  1.79            7,500

Of the two searches that this one replaced, on the same cases: lineup -0.93, 0.78 and -0.23, 0.54;
the bag's quick one 0.70, 5.23 and 0.61, 2.36, its thorough one -0.48, 0.69 and 0.25, 1.23. So the
quick search is better than it was. Thrown against the old lineup's own lines (8,192 shots), the
thorough one for the pocket is behind by 0.3 points on average, 2.2 at worst: both large gaps are
on polished balls of good players, whose best line is narrow. The likely cause (not shown yet) is
the walk, with its smallest step of 0.04 deg and its one direction along the ridge. More lines or
more deciding shots did not help there; a finer walk is the next thing to try.
"""

from __future__ import annotations

import argparse
import json
from dataclasses import replace
from pathlib import Path

import numpy as np

from lanesim.bag.judging import default_parts, game_of
from lanesim.bag.search import AGAIN, pins_worth
from lanesim.catalog import ball_names, load_ball, load_pattern_named, pattern_names
from lanesim.equipment.cover import parse_finish
from lanesim.equipment.layout import Layout
from lanesim.lines.effort import QUICK, THOROUGH
from lanesim.lines.plane import ANGLE_RANGE, LAYDOWN_RANGE
from lanesim.lines.search import find
from lanesim.lines.throwing import Thrower
from lanesim.lines.worth import PocketWorth
from lanesim.player import LEVELS, Release, Spread, normal_deviates
from lanesim.streams import Stage

CASE_STAGE = 909
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
        self.thrower = Thrower.of(self.ball, self.release, self.pattern, self.spread)
        self.parts = default_parts()

    def lattice(self) -> np.ndarray:
        """Lines whose mean shot arrives within 4 boards of the pocket."""
        boards = np.arange(LAYDOWN_RANGE[0], LAYDOWN_RANGE[1] + 0.01, 1.0)
        angles = np.arange(ANGLE_RANGE[0], ANGLE_RANGE[1] + 0.001, 0.1)
        lines = np.stack(np.meshgrid(boards, angles, indexing="ij"), axis=-1).reshape(-1, 2)
        entry = self.thrower.usual(np.zeros(len(lines), dtype=int), lines).entry_board
        return lines[(entry > 13.5) & (entry < 21.5)]

    def worth(self, lines: np.ndarray, shots: int, stage: int) -> dict[str, np.ndarray]:
        """Pocket rate [%] and pins per game (k,) of each line on the same shots."""
        deviates = normal_deviates(shots, 6, self.number + stage, Stage.CHECKS)
        pocket, pins = [], []
        for line in lines:
            t = self.thrower.spread_shots(np.zeros(1, dtype=int), line[None], deviates)
            entry = t.entry_board, t.entry_angle_deg, t.entry_speed_mph
            pocket.append(100.0 * PocketWorth().of_shots(t).mean())
            pins.append(float(game_of(self.parts.of_shots(*entry).mean(axis=0))))
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

    def searches(
        self, seed: int, shots: dict[str, list[int]]
    ) -> dict[str, tuple[str, np.ndarray]]:
        """name -> (aim, line) of every search; the shots each took are added to `shots`."""
        out = {}
        for aim, worth in (("pocket", PocketWorth()), ("pins", pins_worth(self.parts))):
            quick = find(self.thrower, worth, effort=QUICK, seed=seed)
            # as a bag does it: from the quick one's lines, its own among those decided between
            again = find(self.thrower, worth, effort=AGAIN, seed=seed, starts=quick.starts,
                         known=quick.lines[:, None])
            whole = find(self.thrower, worth, effort=THOROUGH, seed=seed)
            for kind, one in (("quick", quick), ("quick, then again", again),
                              ("thorough", whole)):
                out[f"{kind}, {aim}"] = aim, one.lines[0]
                shots.setdefault(f"{kind}, {aim}", []).append(one.searched)
        return out


def main() -> None:
    """Run and print."""
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--cases", default="100:104")
    options.add_argument("--seeds", default="1:4")
    options.add_argument("--others", help="JSON of lines that other searches found: "
                                          "{case: {seed: {name: [aim, [laydown, angle]]}}}")
    given = options.parse_args()
    cases, seeds = (range(*map(int, t.split(":"))) for t in (given.cases, given.seeds))
    others = json.loads(Path(given.others).read_text()) if given.others else {}
    behind: dict[str, list[float]] = {}
    shots: dict[str, list[int]] = {}
    for number in cases:
        judge = Judge(number)
        best = judge.brute()
        print(f"case {number}: {judge.ball.name}, {judge.ball.cover.finish}, {judge.pattern.name}, "
              f"{judge.level}", flush=True)
        found = []
        for seed in seeds:
            known = others.get(str(number), {}).get(str(seed), {})
            found.append(judge.searches(seed, shots)
                         | {n: (aim, np.array(line)) for n, (aim, line) in known.items()})
        for name, (aim, _) in found[0].items():
            lines = np.vstack([best[aim], *[f[name][1] for f in found]])
            worth = judge.worth(lines, 2048, 3000)[aim]
            behind.setdefault(name, []).extend(worth[0] - worth[1:])
            print(f"  {name:25s} {worth[0]:6.1f} by brute force; behind:",
                  " ".join(f"{w:.2f}" for w in worth[0] - worth[1:]), flush=True)
    print("\nbehind brute force (pocket: points of the rate; pins: a game)")
    for name, values in sorted(behind.items(), key=lambda item: item[0][::-1]):
        used = f", {np.mean(shots[name]):,.0f} shots" if name in shots else ""
        print(f"  {name:25s} mean {np.mean(values):.2f}, median {np.median(values):.2f}, nine in "
              f"ten below {np.percentile(values, 90):.2f}, worst {np.max(values):.2f} "
              f"({len(values)} searches{used})")


if __name__ == "__main__":
    main()
