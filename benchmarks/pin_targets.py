"""What the pin deck is calibrated on (F) and what is only looked at once, at the end (H).

Written before any search and not changed by it. Numbers and status from the project's list of
published facts: R read in the source, S second-hand, C common practice without a source.

A published count has its binomial error. To it comes a discrepancy: what even a right deck would
be off by, because the professionals' entries, their hands and their lanes are not known exactly
(assumption, stated here before the search).
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Target:
    name: str
    value: float
    error: float  # SD of the published number itself
    discrepancy: float  # SD of what the model leaves out
    use: str  # F or H
    status: str
    note: str = ""

    @property
    def sd(self) -> float:
        return (self.error**2 + self.discrepancy**2) ** 0.5


def share(name: str, count: int, of: int, discrepancy: float, use: str, note: str = "") -> Target:
    p = count / of
    return Target(name, p, (p * (1.0 - p) / of) ** 0.5, discrepancy, use, "R", note)


TARGETS = (
    # 4 and 6: first balls of professionals on television, both hands
    share("strikes of professionals", 4374, 7155, 0.02, "F", "just under 60 % of all frames"),
    share("10 pin", 710, 7155, 0.010, "F", "both hands"),
    share("7 pin", 333, 7155, 0.007, "F", "both hands"),
    share("9 pin", 88, 7155, 0.004, "F", "both hands"),
    # 7: thrown by a machine at board 17.5, about 6 deg
    Target("strikes at 17.5, 6 deg", 0.85, 0.05, 0.0, "F", "S"),
    Target("nine among the rest, 17.5, 6 deg", 0.95, 0.07, 0.0, "F", "S", "nearly all"),
    # 8: where the ball leaves the deck
    Target("exit board, 17.5 at 6 deg", 19.0, 1.0, 0.0, "F", "R"),
    Target("exit board, 16.5 at 7 deg", 14.0, 1.0, 0.0, "F", "R"),
    # held out
    share("pocket hits that strike", 40, 54, 0.02, "H", "one final, four professionals, row 5"),
    share("pocket hits", 54, 66, 0.04, "H", "the same, row 5"),
    share("3-10", 35, 7155, 0.002, "H", "row 6, both hands: with 2-7"),
    share("4-6-7-10", 30, 7155, 0.002, "H", "row 6"),
    share("7-10", 53, 7155, 0.003, "H", "row 6"),
)
LEFT_HANDED = 0.20  # share of the professionals' first balls (assumption, of the facts' list)
SPEED_MPH, SPEED_SD_MPH = 16.5, 0.5  # at the pins: 18.6 at release less about 2 (R, assumption)
ANGLE_DEG, ANGLE_SD_DEG = 5.0, 0.9  # tour 4 to 6 deg (R); of all shots of all players
# SD of a professional's board at the pins: latent, with this prior (assumption). Elite scatter is
# 0.5 in and 0.16 deg at the arrows (R), which makes 0.9 board at 60 ft for a straight ball; lane
# to lane and hook differ on top.
SPREAD_BOARDS, SPREAD_SD = 1.20, 0.25
# He aims where he strikes most, but for this (assumption).
AIM_SD = 0.25
# Published boards may be read at the first contact or where the path crosses the head pin's own
# line, 5 in later: half a board at 6 deg. Latent shift of ours against theirs.
SHIFT_SD = 0.35
