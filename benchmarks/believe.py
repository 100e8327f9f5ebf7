"""What the trade knows against what we compute: one run, one table.

    python -m benchmarks.believe                 # Markdown on standard output
    python -m benchmarks.believe --fitted-only   # without the held-out targets
    python -m benchmarks.believe --quick         # fewer shots

Targets and their split into F (may rule parameters out) and H (held out) stand in
`believe_targets.py`; how ours is computed in `believe_model.py`.
"""

from __future__ import annotations

import argparse
import json
import math
import time
from pathlib import Path

from lanesim.errors import InputError

from .believe_model import (
    AVERAGE,
    TOUR,
    World,
    carry_values,
    change_values,
    exit_values,
    friction_values,
    held_out_values,
    ladder_values,
    level_values,
    pin_values,
    shipped_world,
    tour_values,
)
from .believe_targets import LADDER, LADDER_USE, STRENGTH, TARGETS, URETHANE


def all_values(world: World, fitted_only: bool = False, say=lambda text: None) -> dict[str, float]:
    """Every key of TARGETS (those marked F alone if `fitted_only`), and strikes behind them."""
    out: dict[str, float] = {}
    names = [n for n in LADDER if LADDER_USE[n] == "F" or not fitted_only]
    levels = ("160", "180", "220") if fitted_only else ("160", "180", "200", "220")
    sport = ("180",) if fitted_only else ("160", "180", "200")
    tour, lines = tour_values(world)
    steps = [
        lambda: ladder_values(world, AVERAGE, "average", names),
        lambda: ladder_values(world, TOUR, "tour", names),
        lambda: level_values(world, levels, sport),
        lambda: tour, lambda: pin_values(lines), lambda: carry_values(world.carry),
        lambda: change_values(world), lambda: friction_values(world), exit_values,
    ]
    if not fitted_only:
        steps.append(lambda: held_out_values(world, lines))
    for number, step in enumerate(steps, start=1):
        start = time.perf_counter()
        try:
            out |= step()
        except InputError as error:  # a part that cannot be had here is reported as missing
            say(f"left out: {error}")
        say(f"{number} of {len(steps)}: {time.perf_counter() - start:.0f} s")
    return out


BEFORE = Path(__file__).with_name("believe_before.json")


def markdown(values: dict[str, float], before: dict[str, float], uses: str = "FH") -> str:
    """The table; `before` holds the values of the code before the calibration."""
    lines = []
    for use in uses:
        mine = [t for t in TARGETS if t.use == use]
        inside, once = (sum(t.agrees(v.get(t.key, math.nan)) for t in mine)
                        for v in (values, before))
        lines += [f"### {'Fitted (F)' if use == 'F' else 'Held out (H)'}: {inside} of {len(mine)} "
                  f"inside, {once} before", "",
                  "| # | observation | published or common | accepted | before | ours | agrees | "
                  "status |", "|---|---|---|---|---|---|---|---|"]
        for t in mine:
            value, old = (v.get(t.key, math.nan) for v in (values, before))
            lines.append(f"| {t.number} | {t.text} | {t.published} | {t.low:g} to {t.high:g} | "
                         f"{old:.{t.digits}f} | {value:.{t.digits}f} {t.unit} | "
                         f"{'yes' if t.agrees(value) else '**no**'} | {t.status} |")
        lines.append("")
    return "\n".join(lines)


def ladder_table(values: dict[str, float]) -> str:
    """Strikes of every ball behind target 1."""
    balls = (*STRENGTH, URETHANE)
    lines = ["| player | pattern | " + " | ".join(balls) + " |", "|---|---|" + "---|" * len(balls)]
    for who in ("average", "tour"):
        for name in LADDER:
            cells = [f"{values.get(f'strikes {who} {name} {b}', math.nan):.0f}" for b in balls]
            lines.append(f"| {who} | {name} | " + " | ".join(cells) + " |")
    return "\n".join(lines) + "\n"


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--fitted-only", action="store_true")
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--json", type=Path, help="also write the values to this file")
    args = parser.parse_args()
    start = time.perf_counter()
    world = shipped_world(args.seed, not args.quick)
    values = all_values(world, args.fitted_only, lambda text: print(f"# {text}", flush=True))
    before = json.loads(BEFORE.read_text())
    print(markdown(values, before, "F" if args.fitted_only else "FH"))
    print(ladder_table(values))
    print(f"{time.perf_counter() - start:.0f} s")
    if args.json:
        args.json.write_text(json.dumps(values, indent=1))


if __name__ == "__main__":
    main()
