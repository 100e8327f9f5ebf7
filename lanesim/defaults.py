"""What is taken where nobody says otherwise: one place for commands, files and Python.

No other module of the package is needed to read it, nor numpy: help texts quote it.
"""

from __future__ import annotations

BALL = "strong-solid"
PATTERN = "medium-42"
LEVEL_NAMES = ("elite", "220", "200", "180", "160")
LEVEL = "200"
SEED = 1

# Speed and rev rate: means of professional men (read, 2020); rotation and tilt: within what is
# coached and common; laydown and angle: a line that finds the pocket on PATTERN with BALL (our own
# computation).
RELEASE: dict[str, float] = {
    "speed_mph": 18.6,
    "rev_rpm": 436.0,
    "rotation_deg": 45.0,
    "tilt_deg": 15.0,
    "laydown_board": 24.0,
    "launch_angle_deg": -2.2,
}

# Shots that each study throws: (default, fewest, most).
SHOTS: dict[str, tuple[int, int, int]] = {
    "lineup": (8192, 2, 10_000_000),
    "odds": (16384, 2, 10_000_000),
    "compare": (4096, 1, 10_000_000),
    "wear": (512, 16, 1_000_000),
    "transition": (128, 8, 100_000),
    "bag": (2000, 1, 10_000_000),
}
