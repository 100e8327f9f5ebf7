"""History matching of the assumed parameters against the fitted (F) targets alone.

    python -m benchmarks.calibrate --run 96 --out waves.jsonl   # resumable; one line a set
    python -m benchmarks.calibrate --report waves.jsonl         # what is not ruled out

Each set of parameters is a Sobol point of PRIORS. All sets meet the same random numbers. What is
held out is never computed here.
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from pathlib import Path

import numpy as np

from lanesim.catalog import load_ball, load_pattern_named
from lanesim.equipment.doubt import ParameterSet
from lanesim.pins.score import FrameOdds, mean_score
from lanesim.player import LEVEL_RELEASES, Player

from . import believe_model as m
from .believe_lines import Found
from .believe_targets import HOUSE, LADDER, LADDER_USE, SPORT, STRENGTH, URETHANE


@dataclass(frozen=True)
class Prior:
    """An even prior from low to high (of the logarithm if `log`), and why."""

    name: str
    low: float
    high: float
    reason: str
    log: bool = False

    def at(self, share: float) -> float:
        """The value at a share 0..1 of the range."""
        if self.log:
            return float(self.low * (self.high / self.low) ** share)
        return float(self.low + share * (self.high - self.low))

    def share(self, value: float) -> float:
        """Where in the range a value lies."""
        if self.log:
            return float(np.log(value / self.low) / np.log(self.high / self.low))
        return float((value - self.low) / (self.high - self.low))


PRIORS = (
    Prior("film_share", 0.75, 1.0,
          "a flooded contact of this size, load and speed would carry some 9 um (soft "
          "elastohydrodynamic formula of Hamrock and Dowson, from memory); the lane holds less, so "
          "the contact is starved and nearly all that lies there passes through it"),
    Prior("lambda_ref", 0.5, 1.0,
          "Greenwood and Tripp's asperity load has 1/e at 0.53 roughness heights (derived); it "
          "counts from surfaces at their mean planes, so up to twice as far"),
    Prior("lambda_power", 1.0, 1.6, "the same load: 1.1 to 1.4 from 0.5 to 3, and some doubt"),
    Prior("lane_roughness_um", 0.1, 0.6, "polished to worn synthetic lane", True),
    Prior("film_cap", 0.02, 0.06, "friction of a sheared oil film under load, as oils reach"),
    Prior("pickup", 0.03, 0.4, "share of a film that splits off per contact: half at most, less "
          "for rings that meet the lane once a turn", True),
    Prior("dry_solid", 0.19, 0.26, "reactive cover on dry lane about 0.20 (second-hand), the "
          "standard's cap 0.32"),
    Prior("pearl_gap", 0.02, 0.25, "pearl covers grip less than solid ones (common practice)"),
    Prior("strength_step", 0.02, 0.12, "weak and strong covers of one kind (common practice)"),
    Prior("uptake_scale", 0.4, 1.6, "oil absorbed per turn: unknown; only the order is", True),
    Prior("finish_contrast", 0.5, 1.0, "a hand-held pad leaves finer finishes than its name "
          "(read); 1 = the table of grits"),
    Prior("film_sd", 0.0, 0.08, "oil machines and the balls before leave films that differ by "
          "some per cent from shot to shot"),
    Prior("viscosity_cp", 20.0, 60.0, "published 12 to 81 cP, mean of a range 34.7", True),
    Prior("sd_rotation_deg", 0.8, 2.4, "elite player; from memory 3, likely too much: he sees "
          "45 against 50 deg at once"),
    Prior("sd_rev_rpm", 4.0, 12.0, "elite player; 10-15 from memory for players of all kinds"),
    Prior("sd_speed_mph", 0.10, 0.25, "elite player; 0.2-0.3 from memory"),
    Prior("growth", 0.3, 1.0, "power of the published ranges at the arrows with which the other "
          "SDs grow from elite to 160"),
    Prior("laydown_share", 0.3, 0.85, "of the variance at the arrows: footwork against swing"),
)
NAMES = tuple(p.name for p in PRIORS)
FITTED_LADDER = tuple(n for n in LADDER if LADDER_USE[n] == "F")


def set_of(theta: Mapping[str, float]) -> ParameterSet:
    """The package's parameter set; film_sd and viscosity_cp are no part of it."""
    return ParameterSet(**{f.name: theta[f.name] for f in fields(ParameterSet)})


# Spares made and single pins among what is left, until the pins say it: from facts on amateurs
# (second-hand) and professionals.
STAND_IN_SPARES = {"160": 0.55, "180": 0.65, "200": 0.80, "220": 0.90, "elite": 0.93}


def stand_in_carry(board: np.ndarray, angle_deg: np.ndarray, speed_mph: np.ndarray) -> np.ndarray:
    """A smooth chance of a strike: peak 0.55 + 0.055 angle, SD 0.45 + 0.1 angle about 17.5."""
    angle = np.clip(angle_deg, 0.0, 7.0)
    peak, width = 0.55 + 0.055 * angle, 0.45 + 0.1 * angle
    return peak * np.exp(-0.5 * ((board - 17.5) / width) ** 2)


def stand_in_score(found: Sequence[Found], player: Player) -> float:
    """Mean game of independent frames; three of four leaves are one pin (assumed)."""
    spare = STAND_IN_SPARES["elite" if player.name == m.TOUR else player.name]
    return float(np.mean([mean_score(FrameOdds.simple(f.strikes, nine=0.75, spare=spare,
                                                      other_spare=0.5 * spare)) for f in found]))


def world_of(theta: Mapping[str, float], *, table: bool) -> m.World:
    """The World under a set of parameters, with the shipped carry table or the stand-in."""
    one = set_of(theta)
    names = {HOUSE, *SPORT, *FITTED_LADDER}
    patterns = {n: replace(load_pattern_named(n), viscosity_cp=theta["viscosity_cp"])
                for n in names}
    players = {lv: Player(lv, LEVEL_RELEASES[lv], one.spread(lv))
               for lv in ("160", "180", "200", "220")}
    players[m.TOUR] = Player(m.TOUR, LEVEL_RELEASES["elite"], one.spread("elite"))
    if table:
        from lanesim.pins.table import default_table

        carry, score = default_table().strike_probability, m.table_score
    else:
        carry, score = stand_in_carry, stand_in_score
    return m.World(
        balls={n: one.ball(load_ball(n)) for n in (*STRENGTH, URETHANE)},
        patterns=patterns, friction=one.friction, film_sd=theta["film_sd"], players=players,
        carry=carry, score=score, thorough=False)


def fitted_values(world: m.World) -> dict[str, float]:
    """The F targets that hang on these parameters; lines are shared between targets."""
    out = m.ladder_values(world, m.AVERAGE, "average", FITTED_LADDER)
    out |= m.ladder_values(world, m.TOUR, "tour", FITTED_LADDER)
    few = ("polished-pearl", "medium-hybrid", "strong-solid")
    for who, label in ((m.AVERAGE, "average"), (m.TOUR, "tour")):
        rest = [max(v for k, v in out.items() if k.startswith(f"strikes {label} {n} "))
                for n in SPORT if n in FITTED_LADDER]
        for n in SPORT:
            if n not in FITTED_LADDER:
                rest.append(100 * m.best_of(m.found_lines(world, who, n, few)).strikes)
        out[f"sport strikes {label}"] = float(np.mean(rest))
    for level in ("160", m.AVERAGE, "220"):
        home = m.best_of(m.found_lines(world, level, HOUSE, few))
        out[f"house strikes {level}"] = 100 * home.strikes
        out[f"house {level}"] = world.score([home], world.players[level])
    out["house over sport"] = out[f"house strikes {m.AVERAGE}"] - out["sport strikes average"]
    out |= m.change_values(world)
    dry = [b.cover.dry_friction for b in world.balls.values()
           if b.cover.kind.startswith("reactive")]
    out["dry friction low"], out["dry friction high"] = min(dry), max(dry)
    return out


def theta_of(point: np.ndarray) -> dict[str, float]:
    """Parameters at a point of the unit cube."""
    return {p.name: p.at(float(x)) for p, x in zip(PRIORS, point, strict=True)}


def points(count: int, seed: int) -> np.ndarray:
    """Scrambled Sobol points (count, parameters)."""
    from scipy.stats import qmc

    whole = 1 << int(np.ceil(np.log2(max(count, 2))))
    return qmc.Sobol(len(PRIORS), seed=np.random.default_rng(seed)).random(whole)[:count]


def run(count: int, out: Path, seed: int, table: bool) -> None:
    """Evaluate the sets that are not in the file yet."""
    done = {json.loads(line)["n"] for line in out.read_text().splitlines()} if out.exists() else {}
    for n, point in enumerate(points(count, seed)):
        if n in done:
            continue
        start = time.process_time()
        kept: dict[str, np.ndarray] = {}

        def keep(who: str, pattern: str, ball: str, found: Found, kept=kept) -> None:
            t = found.table
            kept[f"{who}|{pattern}|{ball}"] = np.array(
                [t.entry_board, t.entry_angle_deg, t.entry_speed_mph], dtype=np.float32)

        world = replace(world_of(theta_of(point), table=table), record=keep)
        values = fitted_values(world)
        np.savez_compressed(out.with_name(f"{out.stem}-{n}.npz"), **kept)
        row = {"n": n, "seed": seed, "table": table, "point": point.tolist(), "values": values,
               "cpu_s": time.process_time() - start}
        with out.open("a") as file:
            file.write(json.dumps(row) + "\n")


def main() -> None:
    """Run or report."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--run", type=int)
    parser.add_argument("--out", type=Path, default=Path("waves.jsonl"))
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--table", action="store_true", help="the shipped carry table")
    args = parser.parse_args()
    if args.run:
        run(args.run, args.out, args.seed, args.table)


if __name__ == "__main__":
    main()
