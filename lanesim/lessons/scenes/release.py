"""Lessons on what the hand gives the ball."""

from __future__ import annotations

import numpy as np

from ...face import as_pattern, sweep, throw
from .. import Scene
from ..words import amount, outcome_words, than

PATTERN = "medium-42"

def skid_hook_roll() -> Scene:
    """One shot, its three phases, and the friction on and off the oil."""
    from ...figures.curves import draw_curves
    from ...figures.lane_view import draw_paths

    pattern = as_pattern(PATTERN)
    shot = throw(pattern=pattern)
    oiled = shot.x_ft < pattern.length_ft
    on_oil = float(np.trapezoid(shot.friction[oiled], shot.x_ft[oiled]) / np.ptp(shot.x_ft[oiled]))
    dry = float(np.median(shot.friction[~oiled]))
    on_oil_work = float(np.interp(pattern.length_ft, shot.x_ft, shot.work_j))
    rolls = np.isfinite(shot.roll_ft)
    return Scene(
        values={
            "right": "b" if dry > on_oil else "a",
            "length": amount(pattern.length_ft, "ft", 0),
            "speed": amount(shot.speed_mph[0], "mph"),
            "slip": amount(shot.slip_ms[0], "m/s"),
            "on_oil": amount(on_oil, "", 2), "dry": amount(dry, "", 2),
            "times": amount(dry / on_oil, "times", 0),
            "hook": amount(shot.hook_ft, "ft", 0),
            "roll": f"At {shot.roll_ft:.0f} ft" if rolls else "Only beyond the pins",
            "lost": amount(shot.speed_mph[0] - shot.speed_mph[-1], "mph"),
            "share_dry": amount(100 * (1 - on_oil_work / shot.work_j[-1]), "%", 0),
        },
        pictures=(
            ("path", lambda: draw_paths([shot], pattern, [shot.ball], title="Skid on the oil, hook "
                                        "off it, then roll")),
            ("curves", lambda: draw_curves([shot], [shot.ball], title="Slip ends, and with it the "
                                           "hook")),
        ),
        shots=((shot.ball, shot, pattern),),
    )

def rotation_and_tilt() -> Scene:
    """The same ball with little and much axis rotation, then with little and much tilt."""
    from ...figures.lane_view import draw_paths

    pattern = as_pattern(PATTERN)
    low, usual, high = (throw(pattern=pattern, rotation=r) for r in (25, 45, 70))
    flat, tilted = (throw(pattern=pattern, tilt=t) for t in (5, 25))
    names = ("rotation 25°", "rotation 45°", "rotation 70°")
    wider = high.breakpoint_ft - low.breakpoint_ft
    turn = _turn(high) - _turn(low)
    return Scene(
        values={
            "right": "a" if turn > 0 else "b",
            "low": "25 deg", "high": "70 deg", "little": "5 deg", "much": "25 deg",
            "turn_low": amount(_turn(low), "deg"), "turn_high": amount(_turn(high), "deg"),
            "more_turn": than(turn, "more", "less", "deg"),
            "breakpoint": than(wider, "farther down the lane", "nearer to you", "ft"),
            "hook_tilt": than(tilted.hook_ft - flat.hook_ft, "later", "earlier", "ft"),
            "roll_tilt": than(tilted.roll_ft - flat.roll_ft, "later", "earlier", "ft"),
            "board_tilt": than(flat.y_board[-1] - tilted.y_board[-1], "less hook", "more hook",
                               "boards"),
            "end_low": outcome_words(low.outcome), "end_high": outcome_words(high.outcome),
        },
        pictures=(
            ("rotation", lambda: draw_paths(
                [low, usual, high], pattern, names,
                title="More rotation: " + than(turn, "more", "less", "deg") + " of turn")),
            ("tilt", lambda: draw_paths(
                [flat, tilted], pattern, ("tilt 5°", "tilt 25°"), title="More tilt: the roll comes "
                + than(tilted.roll_ft - flat.roll_ft, "later", "earlier", "ft"))),
        ),
        shots=tuple((n, s, pattern) for n, s in zip(names, (low, usual, high), strict=True)),
    )

def _turn(shot) -> float:
    """How far the heading turns from the breakpoint on, boards aside [deg]."""
    return float(shot.heading_deg[-1] - shot.heading_deg[0])

def speed_and_revs() -> Scene:
    """What a mile an hour and thirty turns a minute do to the board at the pins."""
    from ...figures.heat import draw_sweep
    from ...figures.lane_view import draw_paths

    pattern = as_pattern(PATTERN)
    slow, usual, fast = (throw(pattern=pattern, speed=v) for v in (17.6, 18.6, 19.6))
    dull, keen = (throw(pattern=pattern, revs=r) for r in (406, 466))
    grid = sweep(pattern=pattern, over={"speed": (16.0, 21.0, 6), "revs": (300, 500, 5)})
    per_mph = float(slow.y_board[-1] - fast.y_board[-1]) / 2
    per_revs = float(keen.y_board[-1] - dull.y_board[-1]) / 2
    return Scene(
        values={
            "right": "b" if per_mph > per_revs else "a",
            "mph": "1 mph", "revs": "30 turns a minute",
            "per_mph": amount(abs(per_mph), "boards"), "per_revs": amount(abs(per_revs), "boards"),
            "worth": amount(abs(per_mph / per_revs), "times"),
            "later": than(fast.hook_ft - slow.hook_ft, "later", "earlier", "ft"),
            "slower": "17.6 mph", "faster": "19.6 mph",
            "pocket": str(grid.counts()["pocket"]), "points": str(grid.outcome.size),
        },
        pictures=(
            ("speeds", lambda: draw_paths(
                [slow, usual, fast], pattern, ("17.6 mph", "18.6 mph", "19.6 mph"),
                title=f"One mile an hour is {abs(per_mph):.1f} boards at the pins")),
            ("map", lambda: draw_sweep(grid)),
        ),
        shots=tuple((n, s, pattern) for n, s in (("17.6 mph", slow), ("18.6 mph", usual),
                                                 ("19.6 mph", fast))),
    )
