"""Six typical hits as pictures, to look at: build/hits/*.png.

    python -m benchmarks.draw_hits --out build/hits
"""

from __future__ import annotations

import argparse
from pathlib import Path

from lanesim.figures.pins import draw_rack
from lanesim.files import save_figure
from lanesim.pins.model import Hit, simulate

HITS = (("flush", 17.5, 6.0), ("light and steep", 16.5, 7.0), ("flat in the pocket", 17.5, 2.5),
        ("high", 18.75, 5.0), ("light", 15.25, 4.0), ("on the nose", 20.0, 4.0))
SPEED_MPH = 16.5


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, default=Path("build/hits"))
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    args.out.mkdir(parents=True, exist_ok=True)
    for name, board, angle in HITS:
        hit = Hit(board, angle, SPEED_MPH)
        fall = simulate(hit, seed=args.seed, record=True)
        save_figure(draw_rack(fall, hit, title=name.capitalize()),
                    args.out / f"{name.replace(' ', '-')}.png")


if __name__ == "__main__":
    main()
