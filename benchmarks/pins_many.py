"""Many pin falls at once: on a graphics card if there is one (with numba-cuda), else on processors.

A run is a list `which` of (parameter set, place, noise, leave) rows over tables of these; results
come back in the same order: standing pins, board where the ball leaves the deck, seconds.
"""

from __future__ import annotations

import multiprocessing
import os
import time

import numpy as np

from lanesim.lane import geometry as lane
from lanesim.pins.deck.layout import BODIES, BODY, PAIR_ROWS, PARAMETERS, STATE
from lanesim.pins.deck.pin import pin_mass_properties
from lanesim.pins.model import ALL_SPOTS_M, NOISE, Hit, PinPhysics, first_contact

CHUNK = 200_000  # threads at once on a card: 10 kB each
BLOCK = 64


def has_card() -> bool:
    if not hasattr(np, "row_stack"):  # numba-cuda asks numpy for it by its old name
        np.vstack = np.vstack
    try:
        from numba import cuda

        return bool(cuda.is_available())
    except Exception:
        return False


def places(board, angle_deg, speed_mph, ball_lb=15.0) -> np.ndarray:
    """(n, 9) balls at first contact with a full rack."""
    b, a, s, w = np.broadcast_arrays(board, angle_deg, speed_mph, ball_lb)
    out = np.empty((b.size, 9))
    for i, row in enumerate(zip(b.ravel(), a.ravel(), s.ravel(), w.ravel(), strict=True)):
        hit = Hit(*map(float, row[:3]), ball_lb=float(row[3]))
        out[i] = hit.start(*first_contact(hit)[:2])
    return out


class Many:
    """Runs on whatever there is; made once, since compiling for a card takes half a minute."""

    def __init__(self, jobs: int = 1) -> None:
        self.card = has_card()
        self.jobs = jobs
        if self.card:
            from lanesim.pins.deck.many import card_kernel

            self.kernel = card_kernel()

    def run(self, physics: list[PinPhysics], place: np.ndarray, noise: np.ndarray,
            which: np.ndarray, standing=(1023,)) -> dict[str, np.ndarray]:
        sets = np.array([p.row() for p in physics])
        scatters = np.array([p.scatter() for p in physics])
        which = np.ascontiguousarray(which, dtype=np.int64)
        standing = np.asarray(standing, dtype=np.int64)
        fixed = (sets, place, scatters, np.array(pin_mass_properties()), ALL_SPOTS_M, noise,
                 standing)
        start = time.time()
        if self.card:
            out = self._on_card(fixed, which)
        else:
            out = _on_processors(fixed, which, self.jobs)
        y = out[:, 2]
        exit_board = np.where(y < 1e8, lane.y_to_board(y + lane.HEAD_PIN_Y_M), np.nan)
        print(f"{len(which)} balls in {time.time() - start:.1f} s, "
              f"{len(which) / max(time.time() - start, 1e-9):.0f} a second, mean steps "
              f"{out[:, 4].mean():.0f}", flush=True)
        return {"standing": out[:, 0].astype(np.int16), "exit": exit_board.astype(np.float32),
                "touched": out[:, 1].astype(np.int64), "seconds": out[:, 3].astype(np.float32)}

    def _on_card(self, fixed, which) -> np.ndarray:
        from numba import cuda

        given = [cuda.to_device(np.ascontiguousarray(x)) for x in fixed]
        n = min(CHUNK, len(which))
        room = [cuda.device_array((rows, n)) for rows in (STATE, BODY, BODIES, PARAMETERS,
                                                          PAIR_ROWS)]
        frames = cuda.to_device(np.zeros((0, BODIES, 6)))
        result = np.empty((len(which), 6))
        for first in range(0, len(which), n):
            part = np.ascontiguousarray(which[first:first + n])
            out = cuda.to_device(np.full((len(part), 6), np.nan))
            blocks = -(-len(part) // BLOCK)
            self.kernel[blocks, BLOCK](*given, cuda.to_device(part), *room, frames, out)
            cuda.synchronize()
            result[first:first + n] = out.copy_to_host()
        return result


def _part(task) -> np.ndarray:
    from lanesim.pins.deck.many import on_processor

    fixed, which = task
    out = np.empty((len(which), 6))
    on_processor(*fixed, which, out)
    return out


def _on_processors(fixed, which, jobs: int) -> np.ndarray:
    if jobs < 2:
        return _part((fixed, which))
    parts = np.array_split(which, min(4 * jobs, max(len(which), 1)))
    with multiprocessing.get_context("spawn").Pool(min(jobs, os.cpu_count() or 1)) as pool:
        return np.concatenate(pool.map(_part, [(fixed, p) for p in parts]))


def noise_rows(rows: int, seed: int) -> np.ndarray:
    """(rows, NOISE) standard normal numbers, the same for every parameter set."""
    return np.random.default_rng(np.random.SeedSequence([seed, 54])).standard_normal((rows, NOISE))
