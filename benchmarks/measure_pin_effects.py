"""Does it matter what the carry table leaves out? Slip and spin at the pins, the ball's weight.

Paired runs: every entry, drawn evenly over the pocket, is simulated as the table has it (15 lb,
rolling) and once with each change, with the same pin offsets and friction factors. The difference
of the strike rates then has the interval of a mean of paired differences. Runs are kept in `--work`
in blocks, so that more can be added; the answers are quoted in CARRY.md.

    python benchmarks/measure_pin_effects.py --runs 1600 --work build/effects
    python benchmarks/measure_pin_effects.py --report --work build/effects
"""

from __future__ import annotations

import argparse
import multiprocessing
from io import BytesIO
from pathlib import Path

import numpy as np

STAGE = 53  # of the seed sequence
BLOCK = 80  # entries in a block
# Where balls arrive: the pocket's boards, angles and speeds of the engine's own throws.
BOARDS, ANGLES_DEG, SPEEDS_MPH = (16.5, 18.5), (4.0, 6.5), (14.0, 17.5)
# What the engine's throws have left at the pins (random releases, five balls, four patterns, pocket
# hits): reactive and urethane balls roll in 77 to 100 % of them; the largest slips, the 98th
# percentile of weak-pearl on long-45, are 1.2 m/s forward and 0.8 m/s to the ball-arm side; the
# spin about the vertical is 40 to 125 rpm, middle 80. A plastic ball still slips 1.6 and 1.1 m/s in
# the middle.
VARIANTS: dict[str, dict[str, float]] = {
    "as the table": {},
    "slip 1.2 forward, 0.8 m/s aside": {"slip_forward_ms": 1.2, "slip_side_ms": 0.8},
    "spin of 80 rpm about the vertical": {"spin_up_rpm": 80.0},
    "ball of 12 lb": {"ball_lb": 12.0},
}


def run_block(task: tuple[int, int, str]) -> str:
    """BLOCK entries with every variant; writes (entries, variants) masks and exit boards."""
    from lanesim.files import write_bytes
    from lanesim.pins.model import Hit, simulate

    seed, block, folder = task
    path = Path(folder) / f"block{block:03d}.npz"
    if path.exists():
        return path.name
    place = np.random.default_rng(np.random.SeedSequence([seed, STAGE, block]))
    low, high = np.transpose([BOARDS, ANGLES_DEG, SPEEDS_MPH])
    entries = place.uniform(low, high, (BLOCK, 3))
    standing = np.empty((BLOCK, len(VARIANTS)), dtype=np.int16)
    for k, (board, angle, speed) in enumerate(entries):
        for v, extra in enumerate(VARIANTS.values()):
            fall = simulate(Hit(board, angle, speed, **extra),
                            seed=np.random.SeedSequence([seed, STAGE, block, k]))
            standing[k, v] = fall.standing
    buffer = BytesIO()
    np.savez(buffer, entries=entries, standing=standing, variants=np.array(list(VARIANTS)))
    write_bytes(path, buffer.getvalue())
    return path.name


def paired(values: np.ndarray) -> tuple[float, float]:
    """Mean and half width of its 95 % interval (many pairs: normal)."""
    return float(values.mean()), float(1.96 * values.std(ddof=1) / np.sqrt(len(values)))


def report(folder: Path) -> None:
    from lanesim.pins.score import pins_in
    from lanesim.stats import wilson

    blocks = [np.load(f) for f in sorted(folder.glob("block*.npz"))]
    if any(list(b["variants"]) != list(VARIANTS) for b in blocks):
        raise SystemExit(f"{folder}: made with other variants")
    board = np.concatenate([b["entries"][:, 0] for b in blocks])
    angle = np.concatenate([b["entries"][:, 1] for b in blocks])
    standing = np.concatenate([b["standing"] for b in blocks])
    strike, taken = standing == 0, 10 - pins_in(standing.astype(np.int64))
    middle, flat = np.mean(BOARDS), np.mean(ANGLES_DEG)
    groups = {"all": board > 0, f"boards below {middle:g}": board < middle,
              f"boards above {middle:g}": board >= middle,
              f"angles below {flat:g}": angle < flat, f"angles above {flat:g}": angle >= flat}
    print(f"{len(board)} entries, boards {BOARDS[0]}-{BOARDS[1]}, {ANGLES_DEG[0]}-{ANGLES_DEG[1]} "
          f"deg, {SPEEDS_MPH[0]}-{SPEEDS_MPH[1]} mph; difference from the table's ball, 95 %")
    for v, name in enumerate(VARIANTS):
        for group, use in groups.items():
            rate = wilson(int(strike[use, v].sum()), int(use.sum()))
            line = f"{name:34s} {group:18s} {use.sum():5d}  strikes {rate.text(1):20s}"
            if v:
                gain, half = paired(100.0 * (strike[use, v].astype(float) - strike[use, 0]))
                pins, pins_half = paired((taken[use, v] - taken[use, 0]).astype(float))
                line += (f"  {gain:+5.1f} +- {half:.1f} points, first ball {pins:+.2f} +- "
                         f"{pins_half:.2f} pins")
            print(line)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=1600, help="entries, in blocks of 80")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--seed", type=int, default=4)
    parser.add_argument("--work", type=Path, default=Path("build/effects"))
    parser.add_argument("--report", action="store_true")
    args = parser.parse_args()
    args.work.mkdir(parents=True, exist_ok=True)
    if not args.report:
        tasks = [(args.seed, block, str(args.work)) for block in range(-(-args.runs // BLOCK))]
        with multiprocessing.get_context("spawn").Pool(args.jobs) as pool:
            for name in pool.imap(run_block, tasks):
                print(name, flush=True)
    report(args.work)


if __name__ == "__main__":
    main()
