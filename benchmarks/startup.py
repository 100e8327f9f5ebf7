"""How long a command takes once everything is compiled, next to importing what it stands on.

    python -m benchmarks.startup [--rounds 5]

Whole processes, taking turns, so that a slow minute of the machine falls on all of them; printed
is the shortest of each and its ratio to importing numpy, scipy.integrate and numba alone. The
project's own aim: `lanesim throw` answers within two seconds after the first compilation.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import time

BARE = "import numba, numpy, scipy.integrate"
COMMANDS = {
    "importing numpy, scipy and numba": ["-c", BARE],
    "lanesim --help": ["-m", "lanesim.cli", "--help"],
    "lanesim throw": ["-m", "lanesim.cli", "throw"],
    "lanesim lineup --shots 256": ["-m", "lanesim.cli", "lineup", "--shots", "256"],
}


def main() -> None:
    """Run and print."""
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--rounds", type=int, default=5)
    rounds = options.parse_args().rounds
    took: dict[str, list[float]] = {name: [] for name in COMMANDS}
    for turn in range(rounds + 1):  # the first may compile and is not counted
        for name, words in COMMANDS.items():
            begin = time.perf_counter()
            subprocess.run([sys.executable, *words], capture_output=True, check=True)
            if turn:
                took[name].append(time.perf_counter() - begin)
    bare = min(next(iter(took.values())))
    for name, times in took.items():
        print(f"{name:34s} {min(times):5.2f} s, {min(times) / bare:4.1f} times")


if __name__ == "__main__":
    main()
