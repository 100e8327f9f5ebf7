"""Print the shipped carry and spare tables beside what is published, for CARRY.md.

    python benchmarks/report_carry.py
"""

from __future__ import annotations

import numpy as np

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


def main() -> None:
    table = default_table()
    print(f"{len(table.board)} runs, bandwidths {table.bandwidths}, "
          f"{len(set(table.standing.tolist()))} kinds of leave")
    print(f"exit boards (mean, SE, runs): {table.provenance.get('exit_board_mean_se_runs')}, "
          "published 19 and 14")
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
