"""The batch on a graphics card: shots per second, next to the processor, and how near they are.

    python -m benchmarks.gpu                # needs the extra "gpu" and an NVIDIA card
    python -m benchmarks.gpu --shots 1000000

One run prints: the time to compile for the card, shots per second including both transfers, the
processor's on all its threads in the same run, how many of some thousand random shots (all balls,
patterns, releases) differ by more than 0.001, 0.02 board or degree between the two, and how many of
those that reach a pin lie within 0.02 board and 0.02 deg of the reference at rtol 1e-9.
"""

from __future__ import annotations

import argparse
import os
import time

import numpy as np

from benchmarks.accuracy import random_shots
from lanesim.catalog import load_ball, load_pattern_named, named_spread
from lanesim.lane.geometry import BOARD_M
from lanesim.motion import batch, card, reference, setup
from lanesim.motion import kernels as k
from lanesim.player import Release, sample_releases

BALL, PATTERN, LEVEL = "strong-asym", "medium-42", "200"
RELEASE = Release(18.6, 436, 45, 15, laydown_board=24, launch_angle_deg=-2.8)


def speed(shots: int) -> None:
    """Shots per second of both engines on the same problem."""
    ball, pattern = load_ball(BALL), load_pattern_named(PATTERN)
    par = setup.parameter_vector(ball, viscosity_cp=pattern.viscosity_cp)[None]
    pap, film, pins = ball.inertia.pap_array[None], pattern.film_m("right"), setup.pin_array()
    some = setup.shot_matrix(sample_releases(RELEASE, named_spread(LEVEL), 1 << 16, 20))
    many = np.ascontiguousarray(np.tile(some, (-(-shots // len(some)), 1))[:shots])

    def timed(rows: np.ndarray, engine: str) -> float:
        start = time.perf_counter()
        batch.run(rows, np.zeros(len(rows), np.int64), pap, par, film, pins, engine=engine)
        return time.perf_counter() - start

    first = timed(some[:64], "gpu")
    print(f"first call on the card, compiling: {first:.1f} s")
    on_card = min(timed(many, "gpu") for _ in range(3))
    timed(some[:512], "cpu")
    on_cpu = min(timed(some, "cpu") for _ in range(2))
    rates = shots / on_card, len(some) / on_cpu
    print(f"card: {shots} shots in {on_card:.3f} s with transfers: {rates[0]:,.0f} shots/s")
    print(f"processor, {batch.THREADS} threads: {len(some)} shots in {on_cpu:.2f} s: "
          f"{rates[1]:,.0f} shots/s; the card is {rates[0] / rates[1]:.0f} times as fast")


def ends(out: batch.BatchRows) -> np.ndarray:
    """Board and mean heading [deg] at the end."""
    return np.column_stack([out.rows[:, k.R_Y] / BOARD_M, np.degrees(out.rows[:, k.R_HEADING])])


def nearness(count: int, references: int) -> None:
    """Card against processor, and both against the reference."""
    shots = random_shots(count, seed=5)
    matrix, pins = setup.shot_matrix(shots.releases), setup.pin_array()
    apart, other, checked = [], 0, {"gpu": 0, "cpu": 0}
    seen = 0
    for name in sorted(set(shots.patterns)):
        pattern = load_pattern_named(name)
        film = pattern.film_m("right")
        mine = [n for n in range(count) if shots.patterns[n] == name]
        balls = [shots.balls[n] for n in mine]
        pars = np.array([setup.parameter_vector(b, viscosity_cp=pattern.viscosity_cp)
                         for b in balls])
        paps = np.array([b.inertia.pap_array for b in balls])
        both = {engine: batch.run(matrix[mine], np.arange(len(mine)), paps, pars, film, pins,
                                  engine=engine) for engine in ("gpu", "cpu")}
        same = both["gpu"].rows[:, k.R_END] == both["cpu"].rows[:, k.R_END]
        other += int(np.sum(~same))
        apart.append(np.abs(ends(both["gpu"]) - ends(both["cpu"]))[same])
        for i, n in enumerate(mine):
            if n >= references:
                continue
            path = reference.integrate(
                setup.release_vector(matrix[n], paps[i], pars[i]), film, pars[i], pins, rtol=1e-9)
            if path.end != k.END_PIN:
                continue
            seen += 1
            _, y, vx, vy = path.final_state[:4]
            want = np.array([y / BOARD_M, np.degrees(np.arctan2(vy, vx))])
            for engine, out in both.items():
                row = out.rows[i]
                got = np.array([row[k.R_Y] / BOARD_M,
                                np.degrees(np.arctan2(row[k.R_VY], row[k.R_VX]))])
                checked[engine] += row[k.R_END] == k.END_PIN and bool(
                    np.all(np.abs(got - want) < 0.02))
    far = np.concatenate(apart)
    print(f"{count} random shots on both: {other} ended another way; of the others more than "
          f"0.001 apart in board or degree: {int(np.sum(np.any(far > 0.001, axis=1)))}, more than "
          f"0.02: {int(np.sum(np.any(far > 0.02, axis=1)))}; median {np.median(far):.1e}")
    for engine, good in checked.items():
        print(f"{engine}: within 0.02 board and 0.02 deg of the reference at rtol 1e-9: "
              f"{good} of {seen} ({100 * good / max(seen, 1):.1f} %)")


def main() -> None:
    """Parse the options and print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--shots", type=int, default=1 << 23)
    parser.add_argument("--random", type=int, default=4000)
    parser.add_argument("--reference", type=int, default=200)
    given = parser.parse_args()
    if card.why_not():
        raise SystemExit(card.why_not())
    from numba import cuda

    if not os.environ.get("NUMBA_ENABLE_CUDASIM"):
        name = cuda.get_current_device().name
        print(name.decode() if isinstance(name, bytes) else name)
    speed(given.shots)
    nearness(given.random, given.reference)


if __name__ == "__main__":
    main()
