"""Build lanesim/data/carry.npz: simulated hits over entry board, angle, speed and ball weight.

The same hits and the same noise for the shipped parameter set and for every set of the ensemble
(`pin_sets.json`, written by calibrate_pins.py), so that differences between balls can be paired
over sets. Two thirds of the hits lie where shots arrive. Angle, speed and weight go a little
beyond what the table answers, so that its averages have neighbours on both sides.

    python -m benchmarks.build_carry_table --out lanesim/data/carry.npz     (two minutes on a card)
"""

from __future__ import annotations

import argparse
import json
from dataclasses import asdict
from io import BytesIO
from pathlib import Path

import numpy as np
from scipy.stats import qmc

from benchmarks.pins_many import Many, noise_rows, places
from lanesim.pins.model import PinPhysics

SETS = Path(__file__).parent / "pin_sets.json"
MIDDLE, SIDES = 1 << 16, 1 << 15  # hits where shots arrive; and left and right of it
MIDDLE_BOARDS, BOARDS = (13.0, 22.5), (0.5, 39.5)
ANGLES_DEG, SPEEDS_MPH, WEIGHTS_LB = (0.0, 9.0), (12.0, 20.0), (11.2, 16.8)
BANDWIDTHS = (0.18, 0.7, 1.5, 0.8)  # boards, degrees, mph, lb: see CARRY.md


def sets_of(path: Path = SETS) -> list[PinPhysics]:
    """The shipped set first, then the ensemble."""
    data = json.loads(path.read_text())
    return [PinPhysics(**values) for values in [data["chosen"], *data["ensemble"]]]


def entries(seed: int) -> np.ndarray:
    """(hits, 4) board, angle, speed, weight, as the table will say them."""
    out = []
    for number, count in enumerate((MIDDLE, SIDES)):
        u = qmc.Sobol(4, rng=np.random.default_rng([seed, number])).random(count)
        low, high = MIDDLE_BOARDS
        board = low + u[:, 0] * (high - low)
        if number:
            left = low - BOARDS[0]
            way = u[:, 0] * (left + BOARDS[1] - high)
            board = np.where(way < left, BOARDS[0] + way, way - left + high)
        rest = [a + x * (b - a) for x, (a, b) in
                zip(u.T[1:], (ANGLES_DEG, SPEEDS_MPH, WEIGHTS_LB), strict=True)]
        out.append(np.column_stack([board, *rest]))
    rows = np.concatenate(out)
    rows[:, :2] = np.round(rows[:, :2], 2)
    rows[:, 2:] = np.round(rows[:, 2:] * 20.0) / 20.0
    return rows[np.argsort(rows[:, 0], kind="stable")]


def build(many: Many, sets: list[PinPhysics], seed: int, out: Path) -> np.ndarray:
    rows = entries(seed)
    place, noise = places(*rows.T), noise_rows(len(rows), seed + 100)
    standing = np.empty((len(sets), len(rows)), dtype=np.int16)
    for k, physics in enumerate(sets):
        ids = np.arange(len(rows))
        which = np.column_stack([np.zeros_like(ids), ids, ids, np.zeros_like(ids)])
        standing[k] = many.run([physics], place, noise, which)["standing"]
    provenance = {
        "made_by": "benchmarks/build_carry_table.py", "runs": len(rows), "seed": seed,
        "failed_runs_left_out": 0, "physics": asdict(sets[0]),
        "ensemble": [asdict(p) for p in sets[1:]],
        "status": "simulated, rolling ball", "reference_weight_lb": 15.0,
    }
    buffer = BytesIO()
    np.savez_compressed(
        buffer,
        board=np.round(rows[:, 0] * 100).astype(np.uint16),
        angle=np.round(rows[:, 1] * 100).astype(np.uint16),
        speed=np.round(rows[:, 2] * 20).astype(np.uint16),
        weight=np.round(rows[:, 3] * 20).astype(np.uint16),
        standing=standing,
        bandwidths=np.array(BANDWIDTHS),
        provenance=np.array(json.dumps(provenance)),
    )
    out.write_bytes(buffer.getvalue())
    print(f"{len(rows)} hits, {len(sets)} sets, {len(buffer.getvalue()) / 1e3:.0f} kB -> {out}")
    return standing[0]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--out", type=Path, default=Path("lanesim/data/carry.npz"))
    args = parser.parse_args()
    build(Many(args.jobs), sets_of(), args.seed, args.out)


if __name__ == "__main__":
    main()
