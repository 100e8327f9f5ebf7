"""Build lanesim/data/spares.npz: what a straight spare ball does to the commonest leaves.

Leaves: the most frequent ones where balls arrive (boards normal about 17.2 with an SD of 2, 5 deg
with 1, 15.5 mph with 1; a leave and its mirror image count as one) and every leave with a published
rate. The ball rolls, thrown across the lane: laid down at 40 - board, so the angle is that of the
line from there over 60 ft. Boards from which it meets no standing pin take none and are not
simulated.

Each leave gets `--pilot` balls on every board; then, as long as the rate at the best aim (for the
default spread) is not known to `--half` points either way, one ball more on each board within
REACH of that aim, wherever the aim then is. So runs go where they count, and an aim that looks
best by luck is tried again. Counts of a leave are kept in `--work` and taken up from there: a
smaller `--half` adds runs. The seed of a run follows from (seed, stage, leave, board, its number).

    python benchmarks/build_spare_table.py --half 8 --work build/spares
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
REACH = 5  # boards; 98 % of the balls at the default spread
MOST_PER_BOARD = 200  # the table keeps counts in a byte
ARRIVE = (17.2, 2.0), (5.0, 1.0), (15.5, 1.0)  # mean, SD of board, angle, speed (assumption)


def throw_at(mask: int, cell: int, number: int, seed: int) -> int | None:
    """Pins that ball `number` takes, thrown at board `cell` + 1; None if the engine fails."""
    from lanesim.lane import geometry as lane
    from lanesim.pins.model import Hit, roll_at
    from lanesim.pins.score import pins_in
    from lanesim.units import FOOT_M, INCH_M

    place, shake = np.random.SeedSequence([seed, STAGE, mask, cell, number]).spawn(2)
    board = cell + 0.5 + np.random.default_rng(place).random()
    y = lane.board_to_y(board) - lane.HEAD_PIN_Y_M
    angle = math.degrees(math.atan(
        (lane.board_to_y(board) - lane.board_to_y(40.0 - board)) / (60.0 * FOOT_M)
    ))
    slope = math.tan(math.radians(angle))
    spots = [lane.PIN_SPOTS_IN[p + 1] for p in range(10) if mask >> p & 1]
    reach = lane.pin_contact_distance_m()
    # each pin's distance from the line of the ball
    off = [abs(py * INCH_M - y - slope * px * INCH_M) for px, py in spots]
    if min(off) > reach + 0.01:
        return 0
    start = min(px for px, _ in spots) * INCH_M - reach
    try:
        fall = roll_at(Hit(board, angle, SPEED_MPH), start, y + slope * start,
                       standing=mask, seed=shake)
    except FloatingPointError:
        return None
    return int(pins_in(mask) - pins_in(fall.standing))


def run_leave(task: tuple[int, int, float, int, str]) -> tuple[int, np.ndarray, np.ndarray, int]:
    """Pilot and following runs of one leave: (mask, made (39,), taken (39, 10), failed runs)."""
    from lanesim.files import write_bytes
    from lanesim.pins.score import pins_in
    from lanesim.pins.spares import SpareTable

    mask, pilot, half, seed, folder = task
    path = Path(folder) / f"leave{mask:04d}.npz"
    made, taken, thrown = np.zeros(39), np.zeros((39, 10)), np.zeros(39, dtype=int)
    if path.exists():
        with np.load(path) as data:
            made, taken, thrown = data["made"], data["taken"], data["thrown"]
    n = pins_in(mask)
    new = 0

    def throw(cell: int) -> None:
        nonlocal new
        took = throw_at(mask, cell, int(thrown[cell]), seed)
        thrown[cell] += 1
        new += 1
        if took == n:
            made[cell] += 1
        elif took is not None:
            taken[cell, took] += 1

    for cell in range(39):
        while thrown[cell] < pilot:
            throw(cell)
    while True:
        found = SpareTable(np.array([mask]), made[None], taken[None]).simulated(mask)
        near = [cell for cell in range(39) if abs(cell + 1 - found["aim"]) <= REACH]
        if 1.96 * found["sd"] <= half / 100.0 or max(thrown[near]) >= MOST_PER_BOARD:
            break
        for cell in near:
            throw(cell)
    if new:
        buffer = BytesIO()
        np.savez(buffer, made=made, taken=taken, thrown=thrown)
        write_bytes(path, buffer.getvalue())
    return mask, made, taken, int(thrown.sum() - made.sum() - taken.sum())


def choose(leaves: int, carry: Path | None) -> tuple[list[int], float]:
    """Masks of the commonest leaves and of the published ones; share of the former of all."""
    from lanesim.pins.score import leave_mask
    from lanesim.pins.spares import PUBLISHED
    from lanesim.pins.table import CarryTable, mirror_mask

    table = CarryTable.load(carry)
    rng = np.random.default_rng(0)
    masks, chance = table.leave_distribution(*(rng.normal(m, sd, 50_000) for m, sd in ARRIVE))
    share: dict[int, float] = {}
    for mask, p in zip(masks, chance, strict=True):
        if mask:
            one = min(int(mask), int(mirror_mask(mask)))
            share[one] = share.get(one, 0.0) + float(p)
    common = sorted(share, key=lambda m: -share[m])[:leaves]
    covered = sum(share[m] for m in common) / sum(share.values())
    print(f"{len(share)} kinds of leave; the {leaves} commonest are {100 * covered:.1f} % of all")
    for name in PUBLISHED:
        mask = leave_mask(name)
        if min(mask, int(mirror_mask(mask))) not in common:
            common.append(min(mask, int(mirror_mask(mask))))
    return common, covered


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--leaves", type=int, default=44)
    parser.add_argument("--pilot", type=int, default=3, help="balls on every board")
    parser.add_argument("--half", type=float, default=8.0, help="half width of the 95 % interval "
                        "of a rate to reach [points]")
    parser.add_argument("--carry", type=Path, help="carry table to choose the leaves from")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--seed", type=int, default=3)
    parser.add_argument("--work", type=Path, default=Path("build/spares"))
    parser.add_argument("--out", type=Path, default=Path("lanesim/data/spares.npz"))
    args = parser.parse_args()
    args.work.mkdir(parents=True, exist_ok=True)
    from lanesim.files import write_bytes
    from lanesim.pins import model
    from lanesim.pins.score import leave_name

    masks, covered = choose(args.leaves, args.carry)
    tasks = [(mask, args.pilot, args.half, args.seed, str(args.work)) for mask in masks]
    found = []
    start = time.time()
    with multiprocessing.get_context("spawn").Pool(args.jobs) as pool:
        for mask, made, taken, failed in pool.imap(run_leave, tasks):
            found.append((mask, made, taken, failed))
            print(f"{leave_name(mask)}: {made.sum() + taken.sum():.0f} balls, "
                  f"{time.time() - start:.0f} s", flush=True)
    provenance = {
        "made_by": "benchmarks/build_spare_table.py",
        "leaves": len(found),
        "leaves_share_of_all": round(covered, 4),
        "runs": int(sum(f[1].sum() + f[2].sum() for f in found)),
        "failed_runs_left_out": sum(f[3] for f in found),
        "pilot_runs_per_board": args.pilot,
        "half_width_points": args.half,
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
