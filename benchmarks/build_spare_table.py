"""Build lanesim/data/spares.npz: what a straight spare ball does to the commonest leaves.

Leaves: the most frequent ones among the runs of the carry table between boards 13 and 22 (a leave
and its mirror image count as one) and every leave with a published rate. For each, `--runs` balls
at each board from 1 to 39 (spread over the board), rolling, thrown across the lane: laid down at
40 - board, so the angle is that of the line from there over 60 ft. Boards from which the ball
meets no standing pin are not simulated: they take none.

    python benchmarks/build_spare_table.py --leaves 40 --runs 4 --jobs 1
"""

from __future__ import annotations

import argparse
import json
import math
import multiprocessing
import time
from dataclasses import asdict
from io import BytesIO
from pathlib import Path

import numpy as np

STAGE = 52
SPEED_MPH = 17.0  # a spare ball keeps more of its speed than a hook (assumption)


def run_leave(task: tuple[int, int, int, str]) -> tuple[int, np.ndarray, np.ndarray]:
    from lanesim import lane
    from lanesim.files import write_bytes
    from lanesim.pindeck.model import Hit, roll_at
    from lanesim.score import pins_in
    from lanesim.units import FOOT_M, INCH_M

    mask, runs, seed, folder = task
    path = Path(folder) / f"leave{mask:04d}-{runs}.npz"
    if path.exists():
        with np.load(path) as data:
            return mask, data["made"], data["taken"]
    made, taken = np.zeros(39), np.zeros((39, 10))
    n = pins_in(mask)
    spots = [lane.PIN_SPOTS_IN[p + 1] for p in range(10) if mask >> p & 1]
    reach = lane.pin_contact_distance_m()
    for cell in range(39):
        for k in range(runs):
            place, shake = np.random.SeedSequence([seed, STAGE, mask, cell, k]).spawn(2)
            board = cell + 0.5 + (k + np.random.default_rng(place).random()) / runs
            y = lane.board_to_y(board) - lane.HEAD_PIN_Y_M
            angle = math.degrees(math.atan(
                (lane.board_to_y(board) - lane.board_to_y(40.0 - board)) / (60.0 * FOOT_M)
            ))
            # each pin's distance from the line of the ball
            off = [abs(py * INCH_M - y - math.tan(math.radians(angle)) * px * INCH_M)
                   for px, py in spots]
            if min(off) > reach + 0.01:
                taken[cell, 0] += 1
                continue
            start = min(px for px, _ in spots) * INCH_M - reach
            start_y = y + math.tan(math.radians(angle)) * start
            fall = roll_at(Hit(board, angle, SPEED_MPH), start, start_y, standing=mask, seed=shake)
            left = pins_in(fall.standing)
            if left == 0:
                made[cell] += 1
            else:
                taken[cell, n - left] += 1
    buffer = BytesIO()
    np.savez(buffer, made=made, taken=taken)
    write_bytes(path, buffer.getvalue())
    return mask, made, taken


def choose(leaves: int, carry: Path | None) -> list[int]:
    from collections import Counter

    from lanesim.pindeck.spares import PUBLISHED
    from lanesim.pindeck.table import CarryTable, mirror_mask
    from lanesim.score import leave_mask

    table = CarryTable.load(carry)
    use = (table.board > 13) & (table.board < 22) & (table.standing > 0)
    count: Counter[int] = Counter()
    for mask in table.standing[use]:
        count[min(int(mask), int(mirror_mask(int(mask))))] += 1
    common = [m for m, _ in count.most_common(leaves)]
    covered = sum(count[m] for m in common) / max(sum(count.values()), 1)
    print(f"{len(count)} kinds of leave; the {leaves} commonest are {100 * covered:.1f} % of all")
    for name in PUBLISHED:
        mask = leave_mask(name)
        if min(mask, int(mirror_mask(mask))) not in common:
            common.append(min(mask, int(mirror_mask(mask))))
    return common


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--leaves", type=int, default=40)
    parser.add_argument("--runs", type=int, default=4)
    parser.add_argument("--carry", type=Path, help="carry table to choose the leaves from")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--seed", type=int, default=3)
    parser.add_argument("--work", type=Path, default=Path("build/spares"))
    parser.add_argument("--out", type=Path, default=Path("lanesim/data/spares.npz"))
    args = parser.parse_args()
    args.work.mkdir(parents=True, exist_ok=True)
    from lanesim.files import write_bytes
    from lanesim.pindeck import model
    from lanesim.score import leave_name

    masks = choose(args.leaves, args.carry)
    tasks = [(mask, args.runs, args.seed, str(args.work)) for mask in masks]
    found = []
    start = time.time()
    with multiprocessing.get_context("spawn").Pool(args.jobs) as pool:
        for mask, made, taken in pool.imap(run_leave, tasks):
            found.append((mask, made, taken))
            print(f"{leave_name(mask)}: best board {np.argmax(made) + 1}, "
                  f"{time.time() - start:.0f} s", flush=True)
    provenance = {
        "made_by": "benchmarks/build_spare_table.py",
        "leaves": len(found),
        "runs_per_board": args.runs,
        "seed": args.seed,
        "speed_mph": SPEED_MPH,
        "physics": asdict(model.PinPhysics()),
        "status": "simulated, straight rolling ball across the lane",
    }
    buffer = BytesIO()
    np.savez_compressed(
        buffer,
        masks=np.array([f[0] for f in found], dtype=np.uint16),
        made=np.array([f[1] for f in found]).astype(np.uint8),
        taken=np.array([f[2] for f in found]).astype(np.uint8),
        provenance=np.array(json.dumps(provenance)),
    )
    write_bytes(args.out, buffer.getvalue())
    print(f"{len(found)} leaves, {len(buffer.getvalue()) / 1e3:.0f} kB -> {args.out}")


if __name__ == "__main__":
    main()
