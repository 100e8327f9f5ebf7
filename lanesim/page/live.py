"""What answers while a hand moves: one shot by the batch engine, in full a moment later.

`quick` is the engine of all studies, warm, with one shot: about a millisecond. `full` is the
reference integrator, the same call as `lanesim throw`, with all curves and the ball's turning; it
takes some tenths of a second and follows when the hand rests.
"""

from __future__ import annotations

import math
import time
from typing import TYPE_CHECKING, Any

import numpy as np

from .nouns import Nouns
from .wire import Shot

if TYPE_CHECKING:
    from ..motion.trajectory import Trajectory


def warm(nouns: Nouns, example: Shot) -> None:
    """Compile, or load from disk, all that `quick` and `full` call."""
    from ..motion.compiled import compiling_ahead

    with compiling_ahead():
        full(nouns, example)
        quick(nouns, example)


def quick(nouns: Nouns, shot: Shot) -> dict[str, Any]:
    """Path at whole feet and marks of one shot, by the batch engine.

    Returns
    -------
    dict : `board` (n,) at feet 0, 1, .. as far as it came; `end` (ft, board); outcome, entry,
    breakpoint, hook, roll as in ShotTable; `launch_angle_deg`; `engine_ms`.
    """
    from ..motion.pocket import OUTCOME_WORDS, OUTCOMES
    from ..motion.trajectory import throw_many

    start = time.perf_counter()
    release = nouns.release(shot)
    table = throw_many(nouns.ball(shot), release.row()[None, :], nouns.pattern(shot),
                       hand=release.hand, friction=nouns.basis(shot.fitted).friction,
                       keep_paths=True)
    assert table.path_board is not None and table.end_ft is not None
    assert table.end_board is not None  # asked for by keep_paths
    board = table.path_board[0]
    outcome = OUTCOMES[int(table.outcome[0])]
    names = ("entry_board", "entry_angle_deg", "entry_speed_mph", "breakpoint_board",
             "breakpoint_ft", "hook_ft", "roll_ft", "time_s", "flare_in", "revolutions")
    return {
        "board": np.round(board[np.isfinite(board)], 4),
        "end": (float(table.end_ft[0]), float(table.end_board[0])),
        "outcome": outcome, "outcome_words": OUTCOME_WORDS[outcome],
        "launch_angle_deg": release.launch_angle_deg,
        **{name: float(getattr(table, name)[0]) for name in names},
        "engine_ms": 1000 * (time.perf_counter() - start),
    }


def full(nouns: Nouns, shot: Shot) -> dict[str, Any]:
    """The shot in full: what `lanesim throw --json` gives, and how the ball lies at each moment.

    `turn` (n, 4): quaternion (w, x, y, z) of the ball, body -> lane, in the player's lane frame
    (x down the lane, y away from the ball-arm side, z up). `track` (n, 3): the point of the ball
    that touches the lane, in the body frame; `pap` and `pin`: unit vectors there. `axis` (3, n):
    the rotation axis on the lane.
    """
    from ..equipment.layout import layout_text
    from ..motion.pocket import OUTCOME_WORDS
    from ..motion.trajectory import throw

    ball, pattern, release = nouns.ball(shot), nouns.pattern(shot), nouns.release(shot)
    basis = nouns.basis(shot.fitted)
    path = throw(ball, release, pattern, friction=basis.friction)
    return path.to_dict() | {
        "provenance": basis.provenance([ball], [pattern]),
        "outcome_words": OUTCOME_WORDS[path.outcome],
        "turn": np.round(turning(path), 5), "track": np.round(path.contact_body, 5),
        "axis": np.round(axis_on_lane(path).T, 5),
        "pap": ball.inertia.pap_body, "pin": (1.0, 0.0, 0.0),
        "asymmetric": ball.int_diff_in > 0, "layout": layout_text(ball.layout),
        "finish": ball.cover.finish, "weight_lb": ball.weight_lb,
    }


def axis_on_lane(path: Trajectory) -> np.ndarray:
    """Unit rotation axes (n, 3) in the lane frame, from heading, rotation and tilt."""
    heading, rotation, tilt = (np.radians(a) for a in (path.heading_deg, path.rotation_deg,
                                                       path.tilt_deg))
    across, forward = np.cos(tilt) * np.cos(rotation), -np.cos(tilt) * np.sin(rotation)
    return np.column_stack([
        forward * np.cos(heading) - across * np.sin(heading),
        forward * np.sin(heading) + across * np.cos(heading),
        np.sin(tilt),
    ])


def turning(path: Trajectory) -> np.ndarray:
    """Quaternions (n, 4), w first, body -> lane, from two directions known in both frames.

    The rotation axis and the way down to the lane are known in the ball and on the lane; the two
    fix the ball's position (an orthonormal frame is built on each side; textbook attitude
    determination from two vectors).
    """
    axis = axis_on_lane(path)
    down = np.tile([0.0, 0.0, -1.0], (len(axis), 1))
    lane, body = _frames(down, axis), _frames(path.contact_body, path.axis_body)
    return _quaternions(np.einsum("nij,nkj->nik", lane, body))


def _frames(first: np.ndarray, second: np.ndarray) -> np.ndarray:
    """Orthonormal frames (n, 3, 3) in columns: along `first`, across both, and the third."""
    across = np.cross(first, second)
    across /= np.linalg.norm(across, axis=1, keepdims=True)
    return np.stack([first, across, np.cross(first, across)], axis=2)


def _quaternions(matrix: np.ndarray) -> np.ndarray:
    """Unit quaternions (n, 4), w first, of rotation matrices (n, 3, 3), without jumps of sign."""
    from scipy.spatial.transform import Rotation

    found = np.roll(Rotation.from_matrix(matrix).as_quat(), 1, axis=1)
    flips = np.cumprod(np.where(np.sum(found[1:] * found[:-1], axis=1) < 0, -1.0, 1.0))
    found[1:] *= flips[:, None]
    return found


def pattern_view(nouns: Nouns, shot_pattern: str, fitted: str = "") -> dict[str, Any]:
    """A pattern's film for drawing: (60, 39) [um], board 1 at the RIGHT edge, and what it is."""
    pattern = nouns.basis(fitted).pattern(nouns.own_pattern(shot_pattern))
    return {
        "name": pattern.name, "title": pattern.title, "note": pattern.note,
        "invented": pattern.invented, "length_ft": pattern.length_ft,
        "total_ml": pattern.total_ml, "ratio_right": _or_none(pattern.ratio_right),
        "ratio_left": _or_none(pattern.ratio_left),
        "film_um": np.round(pattern.film_m() * 1e6, 3),
    }


def _or_none(value: float) -> float | None:
    return value if math.isfinite(value) else None
