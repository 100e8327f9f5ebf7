"""Random numbers: every use has a stage of its own, drawn from the user's seed and that stage.

Two uses of one seed must never share numbers: what looks like luck in one would be luck in the
other. `Stage` is the one list of uses; nothing else in the package starts a generator.
"""

from __future__ import annotations

import contextlib
import signal
import threading
from collections.abc import Iterator
from enum import IntEnum, unique

import numpy as np

from .errors import InputError, check_range

MOST_POINTS = 10_000_000


@unique
class Stage(IntEnum):
    """What a draw is for. A new use gets a new number; a number is never used twice."""

    RELEASES = 1  # the player's shots that judge
    WEAR_LAWS = 41  # sampled wear parameters
    PLAY_SHOTS = 51  # shots played one after the other on a changing lane
    MOVE_SEARCH = 52  # shots that look for a move
    MOVE_JUDGE = 53  # and fresh ones that judge it
    FIT_STARTS = 61
    FIT_FOLDS = 62
    FIT_INVENTED = 63  # invented shots with known truth
    FIT_POINTS = 64
    BAG_RESAMPLE = 71  # which shots a resample holds
    BAG_TABLE = 72  # resampled runs of the carry table
    BAG_SPARES = 74  # shots at a corner pin
    SPARE_FIRST_BALLS = 73  # first balls that leave the spares
    LINE_FIRST = 81  # search for a line: the first shots on every candidate,
    LINE_FINALISTS = 82  # those on the few best rated,
    LINE_MODEL = 83  # deviates at which a local model is averaged,
    LINE_DECIDE = 84  # the same shots on the last few
    CHECKS = 901  # benchmarks and tests


def stream(stage: Stage, seed: int, *part: int) -> np.random.Generator:
    """A generator of random numbers for one use.

    part : whole numbers that tell apart the draws within a use (game, player, ...).

    Raises
    ------
    InputError
        for a seed that is not a whole number of 0 or more.
    """
    if isinstance(seed, bool) or seed != int(seed) or seed < 0:
        raise InputError(f"seed is {seed!r}; accepted: a whole number, 0 or more")
    return np.random.default_rng(np.random.SeedSequence([int(seed), int(Stage(stage)), *part]))


@contextlib.contextmanager
def uninterrupted() -> Iterator[None]:
    """Hold back Ctrl-C and SIGTERM until the end of the block, then let them act.

    For code that would swallow the exception that a signal raises and go on half done. Python runs
    its handlers in the main thread only, so that elsewhere there is nothing to hold back.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    came: list[int] = []
    kept = {}
    for number in (signal.SIGINT, signal.SIGTERM):
        if callable(signal.getsignal(number)):
            kept[number] = signal.signal(number, lambda n, frame: came.append(n))
    try:
        yield
    finally:
        for number, handler in kept.items():
            signal.signal(number, handler)
        for one in came:
            signal.raise_signal(one)


def normal_deviates(
    n: int, dims: int, seed: int, stage: Stage = Stage.RELEASES
) -> np.ndarray:
    """Standard normal points (n, dims) from scrambled Sobol points: the same seed, the same points.

    Sources: Sobol (1967), Owen's scrambling (scipy.stats.qmc); normals by the inverse CDF.

    Raises
    ------
    InputError
        for a number of points below 1 or above ten million.
    RuntimeError
        if the points came out alike, as a table of direction numbers that was not read gives them.
    """
    check_range("number of shots", n, 1, MOST_POINTS)
    from scipy.special import ndtri
    from scipy.stats import qmc

    whole = 1 << max(0, int(n - 1).bit_length())
    # scipy reads its direction numbers in compiled code that swallows exceptions
    with uninterrupted():
        sampler = qmc.Sobol(d=dims, scramble=True, seed=stream(stage, seed))
        points = sampler.random(whole)
    if whole > 1 and np.any(np.ptp(points, axis=0) == 0.0):
        raise RuntimeError("the random points came out all alike: scipy's table of direction "
                           "numbers was not read; run it again")
    return ndtri(np.clip(points[:n], 1e-12, 1.0 - 1e-12))
