"""What a result found, in one short sentence: the heading of its picture.

Pure functions of results. A difference is told only where it is one: between rates, where the
paired interval leaves out zero; between paths, from half a board up.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from ..lines.lineup import LineResult
    from ..motion.trajectory import Trajectory
    from .compare import Comparison
    from .odds import OddsResult
    from .sweep import Sweep
    from .transition import TransitionResult
    from .wear import BallWear, WearResult

SAME_BOARDS = 0.5  # paths nearer than that at 59 ft are called alike

_ENDS = {
    "pocket": "in the pocket", "high": "high on the head pin", "light": "light",
    "opposite": "on the far side", "missed": "past the head pin", "gutter": "in the gutter",
}


def of_throw(shot: Trajectory, ball: str, pattern: str) -> str:
    """One shot: whether it hooks, and where it ends."""
    how = f"hooks from {shot.hook_ft:.0f} ft" if math.isfinite(shot.hook_ft) else "does not hook"
    end = _ENDS.get(shot.outcome, shot.outcome)
    if math.isfinite(shot.entry_angle_deg) and shot.outcome in ("pocket", "high", "light"):
        end += f" at {shot.entry_angle_deg:.1f} deg"
    return f"{ball} on {pattern}: {how}, ends {end}"


def of_compare(found: Comparison) -> str:
    """Several variants: who hooks more, and what becomes of the shot."""
    labels, late = found.labels, np.asarray(found.values["late_board"])
    if len(labels) == 2:
        first, second = labels
        if np.isfinite(late).all():
            gap = float(late[1] - late[0])
            text = (f"{second} against {first}: as much hook"
                    if abs(gap) < SAME_BOARDS else
                    f"{second} against {first}: {abs(gap):.1f} boards "
                    f"{'more' if gap > 0 else 'less'} hook")
        else:
            text = f"{second} against {first}"
        a, b = found.outcomes
        return text + (f", both {_ENDS[a]}" if a == b else f", {_ENDS[b]} instead of {_ENDS[a]}")
    seen = np.flatnonzero(np.isfinite(late))
    if len(seen) < 2:
        return f"{len(labels)} shots of one release"
    most, least = seen[np.argmax(late[seen])], seen[np.argmin(late[seen])]
    gap = float(late[most] - late[least])
    if gap < SAME_BOARDS:
        return f"All {len(labels)} end within half a board of each other"
    return (f"{labels[most]} hooks most, {labels[least]} least: {gap:.1f} boards apart before the "
            "pins")


def of_odds(result: OddsResult) -> str:
    """Which ball strikes (or finds the pocket) most often, if the shots can tell."""
    balls = result.balls
    with_pins = all(b.pins is not None for b in balls)
    what = "strikes" if with_pins else "finds the pocket"
    rate = {b.line.ball: (b.pins.strike_rate if with_pins and b.pins is not None
                          else b.line.pocket.rate) for b in balls}
    best = max(rate, key=lambda name: rate[name])
    if len(balls) == 1:
        return f"{best} on {result.pattern} {what} {100 * rate[best]:.0f} in 100"
    measure = "strike" if with_pins else "pocket"
    mine = [p for p in result.comparisons if p.measure == measure and best in (p.first, p.second)]
    unclear = [p.second if p.first == best else p.first for p in mine if not p.difference.clear]
    if not unclear:
        return (f"{best} {what} most often on {result.pattern}: {100 * rate[best]:.0f} in 100")
    if len(unclear) == len(balls) - 1:
        return f"No clear difference between the balls on {result.pattern}"
    return f"{best} {what} most often on {result.pattern}, not clearly more than " \
           + ", ".join(unclear)


def of_line(result: LineResult) -> str:
    """The line found and its rate."""
    from ..lines.plane import board_at_arrows

    if not result.found:
        return f"No line for {result.ball} on {result.pattern} is clearly better than chance"
    what = {"pocket": "in the pocket", "strike": "strikes"}.get(result.aim, result.aim)
    release = result.release
    arrow = board_at_arrows(release.laydown_board, release.launch_angle_deg)
    return (f"{result.ball} on {result.pattern}: from board {release.laydown_board:.0f} over "
            f"{float(arrow):.0f} at the arrows, {100 * result.rate.rate:.0f} in 100 {what}")


def lost_today(ball: BallWear) -> tuple[float, float, float]:
    """Boards that a ball (`wear.BallWear`) has lost since it was new, with the band: value, low,
    high."""
    band = ball.standing("today").boards_lost
    return band.value, band.low, band.high


def of_wear(result: WearResult) -> str:
    """The ball that has lost most hook, and whether the model can tell."""
    worst = max(result.balls, key=lambda b: lost_today(b)[0])
    value, low, high = lost_today(worst)
    if low <= 0.0 <= high and abs(value) < SAME_BOARDS:
        return "No ball has clearly lost hook" if len(result.balls) > 1 else (
            f"{worst.ball.name} has not clearly lost hook")
    way = "lost" if value > 0 else "gained"
    return (f"{worst.ball.name} has {way} {abs(value):.1f} boards of hook "
            f"({abs(low if value > 0 else high):.1f} to {abs(high if value > 0 else low):.1f})"
            + ("" if len(result.balls) == 1 else ", the most of all"))


def of_transition(result: TransitionResult, entrant: int = 0) -> str:
    """What is left on the line, and what that does to the pocket."""
    left = 100 * float(result.line_left[entrant][-1])
    text = (f"After {result.games} game{'s' * (result.games != 1)} {left:.0f} % of the oil on the "
            "first line is left")
    name = result.entrants[entrant].name
    mine = [r for r in result.reactions if r.entrant == name]
    if len(mine) < 2:
        return text
    own = [r for r in mine if r.ball == mine[0].ball]
    a, b = own[0].pocket_moved, own[-1].pocket_moved
    text += f"; moved along, {100 * a.rate:.0f}, then {100 * b.rate:.0f} pocket hits in 100"
    return text + (" (no clear difference)" if a.low <= b.high and b.low <= a.high else "")


def of_sweep(sweep: Sweep, measure: str) -> str:
    """How far a measure goes over the settings."""
    from .sweep import MEASURES

    title, unit = MEASURES[measure]
    values = sweep.values[measure]
    known = np.isfinite(values)
    what = " and ".join(axis.setting.title for axis in sweep.axes)
    name = title[:1].upper() + title[1:]
    if not known.any():
        return f"{name} over {what}"
    low, high = float(values[known].min()), float(values[known].max())
    tail = "" if unit in title.split() else f" {unit}"
    return f"{name} runs from {low:.1f} to {high:.1f}{tail} over {what}"
