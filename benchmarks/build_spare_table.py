"""Build lanesim/data/spares.npz: what a ball at each board and angle takes of each leave.

The commonest leaves of an ordinary player's first balls (a leave and its mirror image as one),
and those with a published rate. A rolling 15 lb ball crosses the head pin's line at any board and
angle; counted are the balls that took every pin, and what the others took.

    python -m benchmarks.build_spare_table --out lanesim/data/spares.npz     (a minute on a card)
"""

from __future__ import annotations

import argparse
import json
from dataclasses import asdict
from io import BytesIO
from pathlib import Path

import numpy as np
from scipy.stats import qmc

from benchmarks.build_carry_table import entries, sets_of
from benchmarks.pins_many import Many, noise_rows
from lanesim.lane import geometry as lane
from lanesim.pins.model import Hit, PinPhysics

LEAVES = 84
BALLS = 6144  # of each leave
BOARDS = np.arange(0.25, 40.0, 0.5)  # middles of cells half a board wide
ANGLES_DEG = np.arange(-7.0, 7.1, 2.0)  # middles of cells of two degrees
SPEEDS_MPH = (14.0, 19.0)
START_M = -0.42  # before the head pin's spot
# where first balls arrive, for the choice of leaves: board and angle, mean and SD (assumption)
ARRIVE = (17.2, 2.2), (4.5, 1.5)
ALWAYS = ("10", "7", "9", "3-10", "4-6-7-10", "7-10")


def mask_of(name: str) -> int:
    return sum(1 << (int(p) - 1) for p in name.split("-"))


def mirrored(mask: int) -> int:
    other = (0, 2, 1, 5, 4, 3, 9, 8, 7, 6)
    return sum(1 << other[p] for p in range(10) if mask >> p & 1)


def choose(rows: np.ndarray, standing: np.ndarray) -> tuple[list[int], float]:
    """Masks of the commonest leaves, and their share of all non-strikes."""
    weight = np.exp(-0.5 * sum(((rows[:, k] - m) / sd) ** 2 for k, (m, sd) in enumerate(ARRIVE)))
    # the hits lie half as dense left and right of the middle
    weight *= np.where((rows[:, 0] >= 13.0) & (rows[:, 0] <= 22.5), 1.0,
                       (65536 / 9.5) / (32768 / 29.5))
    share: dict[int, float] = {}
    for mask, w in zip(standing.tolist(), weight, strict=True):
        if mask:
            one = min(mask, mirrored(mask))
            share[one] = share.get(one, 0.0) + w
    common = sorted(share, key=lambda m: -share[m])[:LEAVES]
    covered = sum(share[m] for m in common) / sum(share.values())
    for name in ALWAYS:
        one = min(mask_of(name), mirrored(mask_of(name)))
        if one not in common:
            common.append(one)
    return common, covered


def build(many: Many, physics: PinPhysics, rows: np.ndarray, standing: np.ndarray, seed: int,
          out: Path) -> None:
    masks, covered = choose(rows, standing)
    u = qmc.Sobol(3, rng=np.random.default_rng([seed, 9])).random(1 << 13)[:BALLS]
    board = u[:, 0] * 40.0
    angle = -8.0 + 16.0 * u[:, 1]
    speed = SPEEDS_MPH[0] + u[:, 2] * (SPEEDS_MPH[1] - SPEEDS_MPH[0])
    order = np.argsort(board)
    place = np.empty((BALLS, 9))
    board, angle, speed = board[order], angle[order], speed[order]
    for k in range(BALLS):
        y = lane.board_to_y(board[k]) - lane.HEAD_PIN_Y_M + START_M * np.tan(np.radians(angle[k]))
        place[k] = Hit(20.0, angle[k], speed[k]).start(START_M, y)
    noise = noise_rows(BALLS, seed + 200)
    ids = np.arange(BALLS)
    which = np.array([(0, i, i, m) for m in range(len(masks)) for i in ids])
    left = many.run([physics], place, noise, which, np.array(masks))["standing"]
    left = left.reshape(len(masks), BALLS)
    # counts of pins taken, 0 .. 10, by leave, board and angle
    counts = np.zeros((len(masks), len(BOARDS), len(ANGLES_DEG), 11), dtype=np.uint8)
    b = np.clip((board * 2).astype(int), 0, len(BOARDS) - 1)
    a = np.clip(((angle + 8.0) / 2).astype(int), 0, len(ANGLES_DEG) - 1)
    for m, mask in enumerate(masks):
        taken = np.array([(mask & ~int(s)).bit_count() for s in left[m]])
        np.add.at(counts[m], (b, a, taken), 1)
    provenance = {
        "made_by": "benchmarks/build_spare_table.py", "leaves": len(masks), "seed": seed,
        "leaves_share_of_all": round(float(covered), 4), "runs": int(left.size),
        "failed_runs_left_out": 0, "physics": asdict(physics), "speeds_mph": SPEEDS_MPH,
        "status": "simulated, rolling 15 lb ball",
    }
    buffer = BytesIO()
    np.savez_compressed(buffer, masks=np.array(masks, dtype=np.uint16), counts=counts,
                        boards=BOARDS, angles=ANGLES_DEG,
                        provenance=np.array(json.dumps(provenance)))
    out.write_bytes(buffer.getvalue())
    print(f"{len(masks)} leaves ({100 * covered:.1f} % of all), {left.size} balls, "
          f"{len(buffer.getvalue()) / 1e3:.0f} kB -> {out}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=3)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--carry", type=Path, default=Path("lanesim/data/carry.npz"))
    parser.add_argument("--out", type=Path, default=Path("lanesim/data/spares.npz"))
    args = parser.parse_args()
    data = np.load(args.carry)
    seed = json.loads(str(data["provenance"]))["seed"]
    build(Many(args.jobs), sets_of()[0], entries(seed), data["standing"][0], args.seed, args.out)


if __name__ == "__main__":
    main()
