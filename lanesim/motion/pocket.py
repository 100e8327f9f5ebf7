"""What a ball hits first: the pocket, high, light, the wrong side, no head pin, or the gutter.

The window is the trade's: a ball at board 19 or beyond is high, at 16 or below light (read, a
governing-body engineer's figures); 20 is the head pin's own board.
"""

from __future__ import annotations

import numpy as np

from . import kernels as k

OUTCOMES = ("pocket", "high", "light", "opposite", "missed", "gutter")
POCKET, HIGH, LIGHT, OPPOSITE, MISSED, GUTTER = range(6)

LIGHT_TO_BOARD = 16.0
HIGH_FROM_BOARD = 19.0
HEAD_ON_BOARD = 20.0
BEST_BOARD = 17.5  # read: governing-body engineer, at about 6 degrees
EDGES = (LIGHT_TO_BOARD, HIGH_FROM_BOARD, HEAD_ON_BOARD)

STOPPED = "stopped"  # a whole path alone tells it from a ball that passed; counted as missed

OUTCOME_WORDS = {
    "pocket": "in the pocket (head pin hit between boards 16 and 19)",
    "high": "high on the head pin (board 19 to 20)",
    "light": "light on the head pin (board 16 or less)",
    "opposite": "on the far side of the head pin (beyond board 20)",
    "missed": "past the head pin",
    STOPPED: "stopped before the pins",
    "gutter": "in the gutter",
}


def classify(end: np.ndarray, pin: np.ndarray, entry_board: np.ndarray) -> np.ndarray:
    """Outcome codes (indices into OUTCOMES) from how shots ended.

    Parameters
    ----------
    end : (n,) kernels.END_* codes; pin : (n,) index of the pin touched first (0 = head pin);
    entry_board : (n,) board of the ball's centre at that moment.
    """
    end = np.asarray(end)
    board = np.asarray(entry_board, dtype=float)
    out = np.full(end.shape, MISSED, dtype=np.int8)
    head = (end == k.END_PIN) & (np.asarray(pin) == 0)
    out[head & (board <= LIGHT_TO_BOARD)] = LIGHT
    out[head & (board > LIGHT_TO_BOARD) & (board < HIGH_FROM_BOARD)] = POCKET
    out[head & (board >= HIGH_FROM_BOARD) & (board <= HEAD_ON_BOARD)] = HIGH
    out[head & (board > HEAD_ON_BOARD)] = OPPOSITE
    out[end == k.END_GUTTER] = GUTTER
    return out
