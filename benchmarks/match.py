"""Which sets of parameters the fitted (F) targets do not rule out, from the runs of `calibrate`.

    python -m benchmarks.match waves.jsonl --carry table --pick 30 --out sets.jsonl

1. Strikes and scores of every run are read again from its kept shots, with the shipped carry table
   or the smooth stand-in: no shot is thrown.
2. Every fitted quantity gets an emulator: a quadratic of the parameters without mixed terms, by
   ridge regression, whose error is taken from leave-one-out residuals.
3. A point of the prior is ruled out if any F target is missed by more than CUT standard deviations
   of the emulator's and the target's own error together (history matching; Craig, Goldstein,
   Seheult and Smith 1997, from memory).
4. The point where the least safe target is safest, and a spread of others left, are picked.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path

import numpy as np

from . import believe_model as m
from .believe_targets import HOUSE, LADDER, SPORT, STRENGTH, TARGETS
from .calibrate import (
    FITTED_LADDER,
    NAMES,
    PRIORS,
    stand_in_score,
    theta_of,
    world_of,
)

CUT = 2.0
SHIFTS = (-0.5, -0.25, 0.0, 0.25, 0.5)  # [boards]
FEW = ("polished-pearl", "medium-hybrid", "strong-solid")
# What is not in the package and so fixed: films alike from shot to shot, oil as in the files.
FIXED = {"film_sd": 0.0, "viscosity_cp": 34.7}


def reread(row: dict, folder: Path, stem: str, table: bool) -> dict[str, float]:
    """The fitted values of a run under another carry; scores too."""
    theta = theta_of(np.array(row["point"]))
    world = world_of(theta, table=table)
    with np.load(folder / f"{stem}-{row['n']}.npz") as kept:
        shots = {tuple(k.split("|")): v.astype(float) for k, v in kept.items()}

    def strikes(who: str, pattern: str, ball: str) -> float:
        """Rate of strikes, the line moved by up to half a board to where this carry is best."""
        board, angle, speed = shots[who, pattern, ball]
        met = np.isfinite(board)
        rates = []
        for shift in SHIFTS:
            values = world.carry(board[met] + shift, angle[met], speed[met])
            rates.append(float(np.sum(values)) / len(board))
        best[who, pattern, ball] = SHIFTS[int(np.argmax(rates))]
        return max(rates)

    best: dict[tuple[str, str, str], float] = {}

    def moved(who: str, pattern: str, ball: str) -> np.ndarray:
        return shots[who, pattern, ball] + np.array([[best[who, pattern, ball]], [0.0], [0.0]])

    out = {k: v for k, v in row["values"].items()
           if k in ("refinish", "grit range", "speed", "urethane less", "dry friction low",
                    "dry friction high")}
    for who, label in ((m.AVERAGE, "average"), (m.TOUR, "tour")):
        rates: dict[str, dict[str, float]] = {}
        for name in FITTED_LADDER:
            rates[name] = {b: strikes(who, name, b) for b in STRENGTH}
            out[f"rank {label} {name}"] = m.mean_rank(rates[name])
            # smooth forms of the order, for the emulator
            out[f"order {label} {name}"] = 100 * (
                max(rates[name]["strong-solid"], rates[name]["strong-asym"])
                - max(rates[name]["weak-pearl"], rates[name]["polished-pearl"]))
        out[f"plastic {label}"] = min(100 * (max(r.values()) - r[m.PLASTIC])
                                      for r in rates.values())
        first, last = rates[LADDER[0]], rates[LADDER[-1]]
        out[f"crossover {label}"] = 100 * (last["strong-solid"] - last["weak-pearl"]
                                           - first["strong-solid"] + first["weak-pearl"])
        top = [100 * max(rates[n].values()) if n in rates else
                100 * max(strikes(who, n, b) for b in FEW) for n in SPORT]
        out[f"sport strikes {label}"] = float(np.mean(top))
    for level in ("160", m.AVERAGE, "220"):
        ball = max(FEW, key=lambda b, level=level: strikes(level, HOUSE, b))
        out[f"house strikes {level}"] = 100 * strikes(level, HOUSE, ball)
        out[f"house {level}"] = _score(world, moved(level, HOUSE, ball), level,
                                       out[f"house strikes {level}"] / 100, table)
    away = []
    for n in SPORT:
        balls = STRENGTH if n in FITTED_LADDER else FEW
        ball = max(balls, key=lambda b, n=n: strikes(m.AVERAGE, n, b))
        away.append(_score(world, moved(m.AVERAGE, n, ball), m.AVERAGE,
                           strikes(m.AVERAGE, n, ball), table))
    out["sport 180"] = out["house 180"] - float(np.mean(away))
    mean = []
    for n in SPORT:
        balls = STRENGTH if n in FITTED_LADDER else FEW
        ball = max(balls, key=lambda b, n=n: strikes(m.TOUR, n, b))
        mean.append(_score(world, moved(m.TOUR, n, ball), m.TOUR, strikes(m.TOUR, n, ball), table))
    out["tour strikes"], out["tour mean"] = out["sport strikes tour"], float(np.mean(mean))
    return out


def _score(world: m.World, shots: np.ndarray, who: str, rate: float, table: bool) -> float:
    player = world.players[who]
    if table:
        from lanesim.studies.odds import pins_of

        board, angle, speed = shots
        outcome = np.where(np.isfinite(board), 0, 5)
        outcome[np.isfinite(board) & ((board <= 16.0) | (board >= 19.0))] = 1
        return pins_of(board, angle, speed, outcome, player.spread)[0].pins_per_game

    class _One:
        strikes = rate

    return stand_in_score([_One()], player)  # type: ignore[list-item]


# What is emulated, with the bounds of its F target (an order instead of a rank: smoother).
def goals() -> dict[str, tuple[float, float, float]]:
    """Quantity -> (low, high, SD of the target's own error)."""
    bounds = {t.key: (t.low, t.high) for t in TARGETS if t.use == "F"}
    out = {k: (*bounds[k], 0.0) for k in ("house 160", "house 220", "sport 180", "tour strikes",
                                          "refinish", "grit range", "plastic average",
                                          "plastic tour", "dry friction low", "dry friction high")}
    light, heavy = LADDER[0], LADDER[-1]
    for label in ("average", "tour"):
        out[f"order {label} {light}"] = (-99.0, -0.5, 0.0)
        out[f"order {label} {heavy}"] = (0.5, 99.0, 0.0)
        out[f"order {label} medium-42"] = (-8.0, 8.0, 0.0)
        out[f"crossover {label}"] = (5.0, 99.0, 0.0)
    return out


class Emulator:
    """Ridge regression on the parameters and their squares; the ridge with the least error of
    leave-one-out residuals, which is also the emulator's error."""

    def __init__(self, x: np.ndarray, y: np.ndarray) -> None:
        self.mean = float(y.mean())
        terms = self._terms(x)
        best = np.inf
        for ridge in 3.0 ** np.arange(-6, 4):
            solve = np.linalg.inv(terms.T @ terms + ridge * np.eye(terms.shape[1])) @ terms.T
            hat = np.sum(terms * solve.T, axis=1) + 1.0 / len(y)
            weights = solve @ (y - self.mean)
            left = (y - self.mean - terms @ weights) / (1.0 - hat)
            if np.mean(left**2) < best:
                best, self.weights = float(np.mean(left**2)), weights
        self.error = float(np.sqrt(best))
        self.explained = 1.0 - best / float(np.var(y)) if np.var(y) > 0 else 1.0

    @staticmethod
    def _terms(x: np.ndarray) -> np.ndarray:
        u = 2.0 * x - 1.0
        return np.hstack([u, u * u - 1.0 / 3.0])

    def __call__(self, x: np.ndarray) -> np.ndarray:
        """Predicted means."""
        return self.mean + self._terms(x) @ self.weights


def main() -> None:
    """Read runs, rule out, pick."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("files", type=Path, nargs="+")
    parser.add_argument("--carry", choices=("table", "stand-in"), default="stand-in")
    parser.add_argument("--pick", type=int, default=30)
    parser.add_argument("--points", type=int, default=20000)
    parser.add_argument("--cut", type=float, default=CUT)
    parser.add_argument("--out", type=Path)
    args = parser.parse_args()
    x, values = [], []
    for file in args.files:
        for line in file.read_text().splitlines():
            row = json.loads(line)
            x.append(row["point"])
            values.append(reread(row, file.parent, file.stem, args.carry == "table"))
    x = np.array(x)
    aims = goals()
    fits = {}
    print(f"{len(x)} runs, carry: {args.carry}")
    for key, (low, high, _) in aims.items():
        y = np.array([v[key] for v in values])
        there = np.isfinite(y)
        fits[key] = Emulator(x[there], y[there])
        y = y[there]
        inside = np.mean((y >= low) & (y <= high))
        print(f"{key:28s} runs {y.mean():7.2f} +- {y.std():5.2f} ({y.min():.1f} to {y.max():.1f}), "
              f"{100 * inside:3.0f} % in {low:g} to {high:g}; emulator off by "
              f"{fits[key].error:.2f}, explains {100 * fits[key].explained:.0f} %")
    rng = np.random.default_rng(5)
    point = rng.random((args.points, len(PRIORS)))
    for name, value in FIXED.items():
        p = PRIORS[NAMES.index(name)]
        point[:, NAMES.index(name)] = p.share(value)
    worst = np.zeros(len(point))
    miss = {}
    for key, (low, high, sd) in aims.items():
        y = fits[key](point)
        off = np.maximum(np.maximum(low - y, y - high), 0.0) / np.hypot(fits[key].error, sd)
        miss[key] = off
        worst = np.maximum(worst, off)
    total = np.sqrt(np.sum([off**2 for off in miss.values()], axis=0))
    left = worst < args.cut
    print(f"not ruled out: {100 * left.mean():.2f} % of the prior")
    for key, off in miss.items():
        print(f"  {key:28s} alone rules out {100 * np.mean(off >= args.cut):.0f} %")
    order = np.argsort(total)
    keep = np.flatnonzero(left) if left.sum() >= 5 * args.pick else order[:5 * args.pick]
    inside = point[keep]
    for j, p in enumerate(PRIORS):
        q = [p.at(v) for v in np.quantile(inside[:, j], [0.1, 0.5, 0.9])]
        print(f"  {p.name:20s} {q[0]:.3f} {q[1]:.3f} {q[2]:.3f}   (prior {p.low:g} to {p.high:g})")
    # the middle in the sense of the targets: where the least safe of them is safest
    safety = np.min([np.minimum(fits[k](inside) - low, high - fits[k](inside)) / fits[k].error
                     for k, (low, high, _) in aims.items()
                     if not k.startswith("dry")], axis=0)
    centre = int(keep[np.argmax(safety)])
    chosen = [centre]
    pool = list(keep[np.argsort(total[keep])][: max(4 * args.pick, len(keep) // 2)])
    while len(chosen) < args.pick and pool:
        gap = np.min([np.sum((point[pool] - point[c]) ** 2, axis=1) for c in chosen], axis=0)
        chosen.append(pool.pop(int(np.argmax(gap))))
    print("at the middle point: " + ", ".join(
        f"{key} {fits[key](point[[centre]])[0]:.1f}" for key in aims))
    if args.out:
        args.out.write_text("".join(json.dumps(
            {"n": i, "point": point[c].tolist(), "theta": theta_of(point[c]),
             "worst": float(worst[c])}) + "\n" for i, c in enumerate(chosen)))


if __name__ == "__main__":
    main()
