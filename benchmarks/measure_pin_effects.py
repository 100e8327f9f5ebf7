"""Does it matter what the carry table leaves out? Slip and spin at the pins; the ball's RG.

Paired runs: every entry, drawn evenly over the pocket, is simulated as the table has it (15 lb,
rolling) and once with each change, in the same rack. The difference of the strike rates then has
the interval of a mean of paired differences. The answers are quoted in CARRY.md.

    python -m benchmarks.measure_pin_effects --runs 1600      (or 20000 on a card)
"""

from __future__ import annotations

import argparse

import numpy as np

from benchmarks.build_carry_table import sets_of
from benchmarks.pins_many import Many, noise_rows
from lanesim.pins.model import Hit, PinPhysics, first_contact

STAGE = 53  # of the seed sequence
# Where balls arrive: the pocket's boards, angles and speeds of the engine's own throws.
BOARDS, ANGLES_DEG, SPEEDS_MPH = (16.5, 18.5), (4.0, 6.5), (14.0, 17.5)
# What the engine's throws have left at the pins: reactive and urethane balls roll in 77 to 100 %
# of pocket hits; the largest slips, the 98th percentile of a weak shiny ball on long oil, are
# 1.2 m/s forward and 0.8 m/s to the ball-arm side; the spin about the vertical is 40 to 125 rpm,
# middle 80.
VARIANTS: dict[str, dict[str, float]] = {
    "as the table": {},
    "slip 1.2 forward, 0.8 m/s aside": {"slip_forward_ms": 1.2, "slip_side_ms": 0.8},
    "spin of 80 rpm about the vertical": {"spin_up_rpm": 80.0},
    "ball of 12 lb": {"ball_lb": 12.0},
    "ball of 14 lb": {"ball_lb": 14.0},
    "RG 2.70 in": {"rg_in": 2.70},
}


def measure(many: Many, physics: PinPhysics, runs: int, seed: int) -> None:
    place = np.random.default_rng(np.random.SeedSequence([seed, STAGE]))
    low, high = np.transpose([BOARDS, ANGLES_DEG, SPEEDS_MPH])
    entries = place.uniform(low, high, (runs, 3))
    entries = entries[np.argsort(entries[:, 0])]
    balls = []
    for extra in VARIANTS.values():
        for board, angle, speed in entries:
            hit = Hit(board, angle, speed, **extra)
            balls.append(hit.start(*first_contact(hit)[:2]))
    ids = np.arange(runs)
    which = np.concatenate([np.column_stack([0 * ids, ids + v * runs, ids, 0 * ids])
                            for v in range(len(VARIANTS))])
    out = many.run([physics], np.array(balls), noise_rows(runs, seed + 300), which)
    standing = out["standing"].reshape(len(VARIANTS), runs)
    strike = standing == 0
    taken = 10 - np.array([int(s).bit_count() for s in standing.ravel()]).reshape(standing.shape)
    middle = np.mean(BOARDS)
    groups = {"all": entries[:, 0] > 0, f"below {middle:g}": entries[:, 0] < middle,
              f"above {middle:g}": entries[:, 0] >= middle}
    print(f"{runs} entries, boards {BOARDS}, {ANGLES_DEG} deg, {SPEEDS_MPH} mph; 95 %")
    for v, name in enumerate(VARIANTS):
        for group, use in groups.items():
            line = f"{name:34s} {group:11s} strikes {100 * strike[v, use].mean():5.1f} %"
            if v:
                d = 100.0 * (strike[v, use].astype(float) - strike[0, use])
                p = (taken[v, use] - taken[0, use]).astype(float)
                half = 1.96 / np.sqrt(use.sum())
                line += (f"  {d.mean():+5.1f} +- {half * d.std():.1f} points, first ball "
                         f"{p.mean():+.2f} +- {half * p.std():.2f} pins")
            print(line, flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=1600)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--seed", type=int, default=4)
    args = parser.parse_args()
    measure(Many(args.jobs), sets_of()[0], args.runs, args.seed)


if __name__ == "__main__":
    main()
