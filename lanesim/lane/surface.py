"""The lane itself, beside its oil: how it lies and how warm it is.

The governing body's specification lets a lane be off level or crowned crosswise by 0.040 in over
its width (second-hand); a lane within it can move a ball by a board.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from ..errors import check_range
from ..units import GRAVITY_MS2, INCH_M
from .geometry import LANE_WIDTH_M

LEVEL_TOLERANCE_IN = 0.040  # crosswise, over the lane's width (second-hand)
_LIMIT_IN = 0.25  # far beyond the tolerance: a lane that nobody would play on
REFERENCE_F = 70.0  # temperature at which oil viscosities are given


@dataclass(frozen=True)
class Lane:
    """How a lane lies. Level, flat and at the temperature that viscosities are given at by default.

    Attributes
    ----------
    tilt_in : how much higher the lane's left edge is than its right one [in], seen from the foul
        line; the specification allows 0.040 either way.
    crown_in : how much higher the middle is than the edges [in]; negative: a dish.
    temperature_f : temperature of the oil on the lane [F].
    """

    tilt_in: float = 0.0
    crown_in: float = 0.0
    temperature_f: float = REFERENCE_F

    def __post_init__(self) -> None:
        check_range("lane tilt", self.tilt_in, -_LIMIT_IN, _LIMIT_IN, "in")
        check_range("lane crown", self.crown_in, -_LIMIT_IN, _LIMIT_IN, "in")
        check_range("lane temperature", self.temperature_f, 40, 110, "F")

    @property
    def within_tolerance(self) -> bool:
        """Whether tilt and crown are within the specification's 0.040 in."""
        return max(abs(self.tilt_in), abs(self.crown_in)) <= LEVEL_TOLERANCE_IN

    @property
    def words(self) -> str:
        """The lane in words: 'left edge 0.030 in higher, oil at 75 F'."""
        parts = []
        if self.tilt_in:
            side = "left" if self.tilt_in > 0 else "right"
            parts.append(f"{side} edge {abs(self.tilt_in):.3f} in higher")
        if self.crown_in:
            kind = "higher" if self.crown_in > 0 else "lower"
            parts.append(f"middle {abs(self.crown_in):.3f} in {kind} than the edges")
        if self.temperature_f != REFERENCE_F:
            parts.append(f"oil at {self.temperature_f:g} F")
        return ", ".join(parts) or "level and flat, oil at 70 F"

    def seen_from(self, hand: str) -> Lane:
        """The lane as the core sees it: y from the ball-arm side, so mirrored for a left-hander."""
        return self if hand == "right" else replace(self, tilt_in=-self.tilt_in)

    @property
    def side_acceleration_ms2(self) -> float:
        """Acceleration [m/s^2] toward growing y, down the tilt: -g tilt/width (small slopes)."""
        return -GRAVITY_MS2 * self.tilt_in * INCH_M / LANE_WIDTH_M

    @property
    def crown_acceleration_s2(self) -> float:
        """Acceleration away from the lane's middle per metre from it [1/s^2]: 8 g crown/width^2.

        The crown is a parabola, z = crown (1 - (2 (y - width/2)/width)^2), and a = -g dz/dy.
        """
        return 8.0 * GRAVITY_MS2 * self.crown_in * INCH_M / LANE_WIDTH_M**2


LEVEL_LANE = Lane()


def load_lane(path: str | Path) -> Lane:
    """Read a lane from a TOML file with any of tilt_in, crown_in, temperature_f.

    Raises
    ------
    InputError
        naming the file and the key that is wrong.
    """
    import msgspec

    from ..files import read_toml

    names = [(name, float | None, None) for name in Lane.__dataclass_fields__]
    struct = msgspec.defstruct("LaneFile", names, forbid_unknown_fields=True)
    given: dict[str, Any] = msgspec.structs.asdict(read_toml(path, struct, "lane"))
    values = {name: value for name, value in given.items() if value is not None}
    for name, value in values.items():
        low, high = (40.0, 110.0) if name == "temperature_f" else (-_LIMIT_IN, _LIMIT_IN)
        check_range(name, value, low, high, "F" if name == "temperature_f" else "in", str(path))
    return Lane(**values)
