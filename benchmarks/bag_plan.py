"""A full bag plan: 60 candidates in 12 conditions, 4,000 shots each on lines of their own.

    python benchmarks/bag_plan.py [--quick | --doubt [--seed N]]

Prints what took the time, how much of it outside the engine, the shots a second, and the same for
a second run from the cache. The event is invented. --quick: 12 candidates, 4 conditions, 1,000
shots. --doubt: instead, on a fresh event of `seed`, every quick line is searched again thoroughly:
how far it was behind, and the share beyond the doubt that the plan gives it (at most 1 %).
"""

from __future__ import annotations

import argparse
import os
import tempfile
import time
from pathlib import Path

import numpy as np

from lanesim.bag.cache import Cache
from lanesim.bag.event import parse_event
from lanesim.bag.pairs import Judging
from lanesim.bag.plan import HOPE, event_conditions, event_uses, plan
from lanesim.bag.wear import balls_worn
from lanesim.catalog import pattern_names
from lanesim.motion import batch

PLAYER = 'name = "Robin"\nspeed_mph = 17.4\nrev_rpm = 355\nrotation_deg = 50\ntilt_deg = 14\n'
BALL = """
[{name}]
weight_lb = {weight}
rg_in = {rg}
diff_in = {diff}
cover = "{cover}"
finish = "{finish}"
drilling_deg = 50
pin_to_pap_in = 4.5
val_deg = 35
"""
COVERS = ("reactive-solid", "reactive-hybrid", "reactive-pearl", "urethane", "reactive-solid")


def event_text(balls: int, stages: int) -> tuple[str, str]:
    """(event, ball file): balls of 2 layouts and 3 finishes each, two rounds of `stages`."""
    ball_file, slots = "", ""
    for n in range(balls):
        ball_file += BALL.format(
            name=f"ball{n}", weight=14 + n % 3, rg=2.47 + 0.02 * (n % 6),
            diff=0.055 - 0.003 * (n % 7), cover=COVERS[n % 5], finish=(1000, 2000, 4000)[n % 3])
        slots += f'\n[[ball]]\nball = "balls.toml:ball{n}"\nplace = "new"\n'
    rounds = "".join(
        f'\n[[round]]\nname = "{p}"\npattern = "{p}"\ngames = {stages}\n'
        f"stages = {list(range(stages))}\n" for p in ("medium-39", "long-45"))
    return (f'name = "full"\nplayer = "player.toml"\n'
            'layouts = ["drill 45 deg, pin 5 in, VAL 30 deg", '
            '"drill 75 deg, pin 2.5 in, VAL 60 deg"]\n'
            f'finishes = ["1000", "polish"]\n[limits]\nregistered = 6\ncarried = 3\n'
            f"bag_weight_lb = 46\n[lanes]\nplayers = 2\n{rounds}{slots}", ball_file)


class Engine:
    """Counts the shots and seconds of every call of the batch engine."""

    def __init__(self) -> None:
        self.seconds, self.shots, self.run = 0.0, 0, batch.run
        batch.run = self

    def __call__(self, shots, *rest, **more):
        """Passes the call on."""
        start = time.perf_counter()
        found = self.run(shots, *rest, **more)
        self.seconds += time.perf_counter() - start
        self.shots += len(shots)
        return found


def fresh_event(seed: int, folder: Path):
    """An event drawn at random: 8 balls in 2 finishes, two patterns, two stages each."""
    rng = np.random.default_rng(seed)
    text = ""
    for n in range(8):
        text += BALL.format(
            name=f"ball{n}", weight=rng.integers(14, 17), rg=f"{rng.uniform(2.47, 2.62):.3f}",
            diff=f"{rng.uniform(0.015, 0.055):.3f}", cover=rng.choice(COVERS),
            finish=rng.choice([500, 1000, 2000, 4000]))
    (folder / "balls.toml").write_text(text)
    (folder / "player.toml").write_text(
        f'name = "fresh"\nspeed_mph = {rng.uniform(15, 19):.2f}\n'
        f"rev_rpm = {rng.uniform(250, 480):.0f}"
        f"\nrotation_deg = {rng.uniform(30, 70):.0f}\ntilt_deg = {rng.uniform(8, 20):.0f}\n"
        f'level = "{rng.choice(["180", "200", "220"])}"\n')
    slots = "".join(f'\n[[ball]]\nball = "balls.toml:ball{n}"\n' for n in range(8))
    rounds = "".join(
        f'\n[[round]]\nname = "{p}"\npattern = "{p}"\ngames = 6\nstages = [0, 3]\n'
        for p in rng.choice(pattern_names(), 2, replace=False))
    return parse_event('name = "fresh"\nplayer = "player.toml"\nfinishes = ["polish"]\n'
                       f"[limits]\ncarried = 3\n[lanes]\nplayers = 2\n{rounds}{slots}",
                       "fresh.toml", folder)


def doubt(seed: int, shots: int = 2000) -> None:
    """How far quick lines are behind thorough ones, on one fresh event."""
    with tempfile.TemporaryDirectory() as name:
        event = fresh_event(seed, Path(name))
        uses = event_uses(event)
        conditions = event_conditions(event, seed=seed, cache=Cache(None))
        judging = Judging(event, conditions, balls_worn(event, uses, conditions, None),
                          shots=shots, seed=seed, resamples=10, cache=Cache(None))
        judging.quick()
        before = judging.result().pins
        judging.deepen({(v, c) for v in range(len(uses)) for c in range(len(conditions))})
        behind = (judging.result().pins - before).ravel()
    beyond = np.mean(behind > HOPE)
    print(f"seed {seed}, {', '.join(r.pattern.name for r in event.rounds)}: {len(behind)} quick "
          f"lines behind thorough ones by {behind.mean():.2f} pins a game on average, "
          f"{np.quantile(behind, 0.9):.2f} in nine of ten, {np.quantile(behind, 0.99):.2f} in 99 "
          f"of 100, {behind.max():.2f} at most; {100 * beyond:.1f} % beyond {HOPE:g}", flush=True)


def main() -> None:
    """Run and print."""
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--quick", action="store_true")
    options.add_argument("--doubt", action="store_true")
    options.add_argument("--seed", type=int, default=1)
    given = options.parse_args()
    quick = given.quick
    if given.doubt:
        doubt(given.seed)
        return
    balls, stages, shots = (2, 2, 1000) if quick else (10, 6, 4000)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        text, ball_file = event_text(balls, stages)
        (folder / "balls.toml").write_text(ball_file)
        (folder / "player.toml").write_text(PLAYER)
        event = parse_event(text, "full.toml", folder)
        pairs = len(event_uses(event)) * 2 * stages
        print(f"{len(event_uses(event))} candidates x {2 * stages} conditions, {shots} shots "
              f"each; load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
        engine = Engine()
        for label in ("first run", "from the cache"):
            engine.seconds, engine.shots = 0.0, 0
            start, busy = time.perf_counter(), time.process_time()
            found = plan(event, shots=shots, cache=Cache(folder / "kept"))
            wall, busy = time.perf_counter() - start, time.process_time() - busy
            thrown = found.judged.shots_thrown
            print(f"\n{label}: {wall:.1f} s, {busy:.1f} s of processor time; {thrown:,} shots "
                  f"({thrown / pairs:.0f} a pair), {found.judged.records_found} pairs kept")
            for step, seconds in found.seconds.items():
                print(f"  {step:20s} {seconds:7.1f} s")
            print(f"  engine: {engine.shots:,} shots (lanes, too) in {engine.seconds:.1f} s, "
                  f"{engine.shots / max(engine.seconds, 1e-9):,.0f} a second; outside it "
                  f"{wall - engine.seconds:.1f} s\n  {found.judged.thorough.sum()} pairs searched "
                  f"thoroughly; bag {found.best.value:.2f} pins, gap "
                  f"{found.best.gap:.1e}, still best in {found.still_best} of {found.resamples}; "
                  f"played {found.wear.rounds} times, oil and plan agree: {found.wear.agrees}, "
                  f"settled: {found.settled}")


if __name__ == "__main__":
    main()
