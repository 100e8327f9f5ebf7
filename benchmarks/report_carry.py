"""Print the shipped carry and spare tables beside what is published, for CARRY.md.

First the targets of pin_targets.py, F and H apart, with z-scores; then maps, leaves, spares.

    python -m benchmarks.report_carry
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np

from benchmarks import pin_targets as targets
from lanesim.pins.doubt import over_decks
from lanesim.pins.outcomes import pins_from_shots
from lanesim.pins.score import leave_mask, leave_name, pins_in
from lanesim.pins.spares import PUBLISHED, default_spares
from lanesim.pins.table import CarryTable, default_table
from lanesim.stats import wilson

SPEED_MPH = 16.5
BOARDS = np.arange(15.0, 20.01, 0.1)


def average(table: CarryTable, boards, angles) -> tuple[float, float, float]:
    """Strike rate even over boards and angles, with the interval of the table's runs."""
    b, a = (x.ravel() for x in np.meshgrid(boards, angles))
    placed = table.weigh(b, a, np.full(b.shape, SPEED_MPH))
    rate = float(placed.strike.mean())
    half = 1.96 * np.sqrt(table.table_variance(*table.run_weights(placed)))
    return rate, rate - half, rate + half


def percent(rate: float, low: float, high: float) -> str:
    return f"{100 * rate:.0f} % ({100 * low:.0f}-{100 * high:.0f})"


def professional(latent: dict, shots: int = 40_000) -> tuple[np.ndarray, ...]:
    """Entries of the invented professional of the calibration, at its latent spread and aim."""
    z = np.random.default_rng(11).normal(size=(3, shots))
    return (latent["aim"] + latent["spread"] * z[0],
            np.clip(targets.ANGLE_DEG + targets.ANGLE_SD_DEG * z[1], 0.0, 7.7),
            targets.SPEED_MPH + targets.SPEED_SD_MPH * z[2])


def targets_report(table: CarryTable) -> None:
    """Every target beside the shipped table, and the range over the ensemble's decks."""
    data = json.loads((Path(__file__).parent / "pin_calibration.json").read_text())
    latent = data["sets"][data["chosen"]]
    shots = professional(latent)

    def shares(one: CarryTable) -> dict[str, float]:
        r = pins_from_shots(*shots, table=one)
        p = {leave_name(int(m)): float(x) for m, x in zip(r.masks, r.probabilities, strict=True)}
        f = targets.LEFT_HANDED

        def both(name: str, mirror: str) -> float:
            return (1 - f) * p.get(name, 0.0) + f * p.get(mirror, 0.0)

        at = 17.5 + latent["shift"]
        masks, chance = one.leave_distribution([at], [6.0], [SPEED_MPH])
        rest = chance[masks != 0].sum()
        nine = sum(c for m, c in zip(masks, chance, strict=True) if pins_in(int(m)) == 1)
        return {
            "strikes of professionals": r.strike_rate, "10 pin": both("10", "7"),
            "7 pin": both("7", "10"), "9 pin": both("9", "8"), "3-10": both("3-10", "2-7"),
            "4-6-7-10": p.get("4-6-7-10", 0.0), "7-10": p.get("7-10", 0.0),
            "strikes at 17.5, 6 deg": 1 - rest, "nine among the rest, 17.5, 6 deg": nine / rest,
            "pocket hits": r.pocket_rate, "pocket hits that strike": r.pocket_carry,
            "5 pin of a right-hander": p.get("5", 0.0), "10 pin of a right-hander": p["10"],
            "7 pin of a right-hander": p["7"], "9 pin of a right-hander": p["9"],
            "pins a game": r.pins_per_game,
        }

    ours = shares(table)
    decks = [shares(table.member(k)) for k in range(table.members)]
    ours |= {k: v for k, v in latent["predicted"].items() if k.startswith("exit")}
    print(f"latent: spread {latent['spread']} boards, aim {latent['aim']}, published boards "
          f"{latent['shift']:+} of ours; exits from the calibration's own last run")
    for use in "FH":
        print(f"\n{'fitted on (F)' if use == 'F' else 'held out (H)'}: ours, decks of the ensemble,"
              " published, z")
        for x in targets.TARGETS:
            if x.use == use:
                v, unit = ours[x.name], 1.0 if x.name.startswith("exit") else 100.0
                sets = ([] if unit == 1.0 else [d[x.name] for d in decks])
                span = f"{unit * min(sets):5.1f}-{unit * max(sets):5.1f}" if sets else " " * 11
                print(f"  {x.name:34s} {unit * v:6.2f}  {span}  {unit * x.value:6.2f} +- "
                      f"{unit * x.sd:5.2f}  z {(v - x.value) / x.sd:+5.1f}  ({x.status})")
    print("\nof a right-hander, not scored:")
    for name in ("10 pin", "7 pin", "9 pin", "5 pin"):
        key = f"{name} of a right-hander"
        print(f"  {name:34s} {100 * ours[key]:6.2f}  {100 * min(d[key] for d in decks):5.1f}-"
              f"{100 * max(d[key] for d in decks):5.1f}")
    games = [d["pins a game"] for d in decks]
    print(f"  pins a game {ours['pins a game']:.0f} ({min(games):.0f}-{max(games):.0f}), "
          "published 215")
    print("\nstrikes over the professional's boards by angle:", ", ".join(
        f"{a:g} deg {100 * table.strike_probability(shots[0], a, SPEED_MPH).mean():.1f} %"
        for a in (2.0, 3.0, 4.0, 5.0, 6.0, 7.0)))
    some = slice(0, 4000)
    steep = over_decks(shots[0][some], shots[1][some] + 0.5, shots[2][some])
    flat = over_decks(shots[0][some], shots[1][some] - 0.5, shots[2][some])
    d = steep.minus(flat)
    print(f"what the decks leave open: {flat.game_sd:.1f} pins a game of one ball, {d.game_sd:.1f} "
          f"of the difference of two a degree apart ({d.pins_per_game:+.1f})")


def main() -> None:
    table = default_table()
    targets_report(table)
    print(f"\n{len(table.board)} runs, bandwidths {table.bandwidths}, "
          f"{len(set(table.standing.tolist()))} kinds of leave")
    print("\nStrikes [%] at 16.5 mph (rows: angle [deg]; columns: board)")
    boards = np.arange(15.0, 20.6, 0.5)
    print("      " + "".join(f"{b:6.1f}" for b in boards))
    for angle in (2.0, 3.0, 4.0, 5.0, 6.0, 7.0):
        rates = table.strike_probability(boards, angle, SPEED_MPH)
        print(f"{angle:5.1f} " + "".join(f"{100 * r:6.0f}" for r in rates))
    for speed in (14.0, 16.5, 19.0):
        rates = table.strike_probability(BOARDS, 6.0, speed)
        print(f"best board at 6 deg, {speed:g} mph: {BOARDS[np.argmax(rates)]:.1f} "
              f"({100 * rates.max():.0f} %)")
    for board in (17.0, 17.5, 18.0):
        for angle in (4.0, 5.0, 6.0):
            p, low, high, n = table.strike_interval(board, angle, SPEED_MPH)
            print(f"{board:g}, {angle:g} deg: {percent(p, low, high)}, {n:.0f} runs count")
    print(f"pocket, boards 16.6-18.4 at 4-6 deg: "
          f"{percent(*average(table, np.arange(16.6, 18.5, 0.1), [4.0, 5.0, 6.0]))}, "
          "published 74 %")
    leaves_report(table)
    spares_report()
    players_report()


def leaves_report(table: CarryTable) -> None:
    places = {
        "17.5 at 6": ([17.5], [6.0]),
        "16.5 at 6.5-7": ([16.5], [6.5, 7.0]),
        "light 15-16 at 4-6": ([15.0, 15.5, 16.0], [4.0, 5.0, 6.0]),
        "high 18.5-19 at 4-6": ([18.5, 19.0], [4.0, 5.0, 6.0]),
        "very high 19.5 at 4-6": ([19.5], [4.0, 5.0, 6.0]),
        "pocket 16.6-18.4 at 4-6": (np.arange(16.6, 18.45, 0.2), [4.0, 5.0, 6.0]),
    }
    print("\nLeaves among the non-strikes")
    for name, (b, a) in places.items():
        bb, aa = (x.ravel() for x in np.meshgrid(b, a))
        masks, chance = table.leave_distribution(bb, aa, np.full(bb.shape, SPEED_MPH))
        rest = chance[masks != 0].sum()
        nine = sum(p for m, p in zip(masks, chance, strict=True) if pins_in(int(m)) == 1) / rest
        top = ", ".join(f"{leave_name(int(m))} {100 * p / rest:.0f}"
                        for m, p in list(zip(masks, chance, strict=True))[:13] if m)
        print(f"{name}: strikes {100 * (1 - rest):.0f} %, nines {100 * nine:.0f} % of the rest; "
              f"{top}")


def spares_report() -> None:
    spares = default_spares()
    print(f"\nSpares [%], spread {spares.spread_boards} boards: published against simulated; "
          "'agree' if the 95 % intervals overlap")
    for name, (made, tried) in PUBLISHED.items():
        d, p = spares.simulated(leave_mask(name)), wilson(made, tried)
        agree = d["low"] <= p.high and p.low <= d["high"]
        print(f"{name:9s} published {100 * p.rate:5.1f} ({100 * p.low:.1f}-{100 * p.high:.1f}) of "
              f"{tried:3d}   simulated {100 * d['rate']:5.1f} ({100 * d['low']:.1f}-"
              f"{100 * d['high']:.1f})   {'agree' if agree else 'FAILS'}")
    print("The other leaves of the table:")
    rows = [(leave_name(int(m)), spares.detail(int(m))) for m in spares.masks]
    for name, d in sorted(rows, key=lambda row: -row[1]["rate"]):
        print(f"{name:14s} {d['source']:10s} {100 * d['rate']:5.1f} "
              f"({100 * d['low']:.1f}-{100 * d['high']:.1f})")


def players_report() -> None:
    rng = np.random.default_rng(3)
    print("\nInvented players: spread about board 17.4, 5 deg")
    for sd in (0.3, 0.6, 0.9, 1.5):
        n = 20_000
        r = pins_from_shots(rng.normal(17.4, sd, n), rng.normal(5.0, 0.6, n),
                            rng.normal(SPEED_MPH, 0.3, n))
        print(f"SD {sd} boards: strikes {100 * r.strike_rate:.1f} % "
              f"({100 * r.strike_low:.1f}-{100 * r.strike_high:.1f}), carry in the pocket "
              f"{100 * r.pocket_carry:.0f} %, spares {100 * r.spare_rate:.0f} %, "
              f"{r.pins_per_game:.0f} pins, {r.pins_per_point:.2f} a point, "
              f"fallback {100 * r.assumed_spare_share:.0f} %")


if __name__ == "__main__":
    main()
