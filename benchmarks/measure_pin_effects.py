"""Does it matter? Slip left at the pins, the softness of contact, the ball's weight.

Strike rates of variants at a few entries, with common random numbers and Wilson intervals; the
answers are quoted in CARRY.md.

    python benchmarks/measure_pin_effects.py --runs 100
"""

from __future__ import annotations

import argparse
from collections import Counter
from dataclasses import replace

import numpy as np

ENTRIES = ((17.5, 6.0), (16.75, 4.5), (18.25, 5.0))
SPEED_MPH = 16.5


def main() -> None:
    from lanesim.pindeck.model import Hit, PinPhysics, simulate
    from lanesim.score import leave_name
    from lanesim.stats import wilson

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=100)
    parser.add_argument("--seed", type=int, default=4)
    args = parser.parse_args()
    physics = PinPhysics()
    variants = {
        "as shipped": (physics, {}),
        "half the step": (replace(physics, step_ms=physics.step_ms / 2), {}),
        "side slip 1.5 m/s": (physics, {"slip_side_ms": 1.5}),
        "side slip 1.5, forward 1.5 m/s": (
            physics, {"slip_side_ms": 1.5, "slip_forward_ms": 1.5}),
        "ball of 12 lb": (physics, {"ball_lb": 12.0}),
    }
    for name, (parameters, extra) in variants.items():
        for number, (board, angle) in enumerate(ENTRIES):
            falls = [
                simulate(Hit(board, angle, SPEED_MPH, **extra), parameters,
                         seed=np.random.SeedSequence([args.seed, number, k]))
                for k in range(args.runs)
            ]
            rate = wilson(sum(f.strike for f in falls), len(falls))
            common = Counter(leave_name(f.standing) for f in falls if not f.strike).most_common(4)
            print(f"{name:32s} {board:5.2f} {angle:3.1f} deg: {rate.text(0):18s} "
                  f"exit {np.nanmean([f.exit_board for f in falls]):5.1f}  {common}", flush=True)


if __name__ == "__main__":
    main()
