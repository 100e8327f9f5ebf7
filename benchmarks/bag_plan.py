"""A full bag plan: 60 candidates in 12 conditions, 4,000 shots each on lines of their own.

    python benchmarks/bag_plan.py [--quick]

Prints what took the time, how much of it outside the engine, the shots a second, and the same for
a second run from the cache. The event is invented. --quick: 12 candidates, 4 conditions, 1,000
shots.
"""

from __future__ import annotations

import argparse
import os
import tempfile
import time
from pathlib import Path

from lanesim.bag.cache import Cache
from lanesim.bag.event import parse_event
from lanesim.bag.plan import event_uses, plan
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


def main() -> None:
    """Run and print."""
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--quick", action="store_true")
    quick = options.parse_args().quick
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
                  f"{found.best.gap:.1e}, still best in {100 * found.stability:.0f} %")


if __name__ == "__main__":
    main()
