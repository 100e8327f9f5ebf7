"""Oil taken off the lane and laid down again by a shot.

A shot follows its path over the film as it lies; then, foot by foot along that path, it takes oil
off the lane and lays part of what it carries down again.  Carried is the oil on the track ring that
meets the lane, C, as an amount; per turn of the ball (n counts turns)

    dC/dn = take - C (1 - o + uptake + lay)

which is `track_film_rate` with one more way out: `lay`, the share that the lane takes back from the
ring.  What flare turns away from the lane (1 - o) and what the cover drinks (uptake) stays with the
ball for good; the rest, C lay, goes onto the lane where the ball is.  Within a foot the equation is
solved in closed form, so that what leaves C is exactly what is split.  Amounts are film [m] times
one cell; the caller knows the cell's area.
"""

from __future__ import annotations

import math

from numba import njit

from .columns import (
    P_BOARD,
    P_CELL_X,
    P_RING_WIDTH,
    P_UPTAKE,
    R_FLARE,
    R_LOFT,
    R_TURNS,
    R_X,
    R_Y,
    T_Y,
)
from .compiling import INNER, PLAIN, kept

SQRT_HALF = math.sqrt(0.5)
INV_SQRT_2PI = 1.0 / math.sqrt(2.0 * math.pi)


@njit(**INNER, inline="always")
def normal_ramp(u):
    """Integral of the standard normal distribution function from -infinity to u: u Phi + phi."""
    return u * 0.5 * math.erfc(-u * SQRT_HALF) + math.exp(-0.5 * u * u) * INV_SQRT_2PI


@njit(**PLAIN)
def swath_shares(y0, y1, sd, board, shares):
    """Share of a swath that lies on each board; fills shares, which sum to 1.

    The swath is a Gaussian of standard deviation sd [m] about a path that runs evenly from y0 to
    y1 [m] within the row: the exact integral over each board, (1/L) int Phi((b - y)/sd) dy at its
    two edges.  What would lie beside the lane is spread over the boards in proportion.
    """
    count = shares.shape[0]
    long_enough = abs(y1 - y0) > 1e-4 * sd
    total = 0.0
    before = 0.0
    for j in range(count + 1):
        edge = j * board
        if long_enough:
            here = (
                (normal_ramp((edge - y0) / sd) - normal_ramp((edge - y1) / sd)) * sd / (y1 - y0)
            )
        else:
            here = 0.5 * math.erfc(-(edge - 0.5 * (y0 + y1)) / sd * SQRT_HALF)
        if j > 0:
            shares[j - 1] = max(here - before, 0.0)  # rounding of two equal numbers, 1e-16
            total += shares[j - 1]
        before = here
    for j in range(count):
        shares[j] /= total


@kept()
def carry_oil(row, trace, par, swath, wipe, lay, film, shares):
    """Change the film [m] as one shot of `throw_chunk` did; returns (taken, laid) in film x cells.

    Parameters
    ----------
    row, trace : the shot's, from `throw_chunk`;  swath : standard deviation of its swath [m];
    wipe : rate per turn at which the swath gives up its oil (the share 1 - exp(-wipe n) in n
    turns);  lay : share per turn of the ring's oil that goes back onto the lane;
    film : (rows, boards), changed in place;  shares : (boards,) scratch.
    """
    rows, cols = film.shape
    cell = par[P_CELL_X]
    x_end = row[R_X]
    if not (x_end > 0.0 and row[R_TURNS] >= 0.0):
        return 0.0, 0.0
    turns_per_m = row[R_TURNS] / x_end
    overlap = 1.0
    if row[R_TURNS] > 0.0:
        gap = row[R_FLARE] / row[R_TURNS] / par[P_RING_WIDTH]
        overlap = math.exp(-gap * gap)
    loss = 1.0 - overlap + par[P_UPTAKE] + lay
    carried = 0.0
    taken = 0.0
    laid = 0.0
    for i in range(rows):
        x0 = i * cell
        if x0 >= x_end:
            break
        y0 = trace[i, T_Y]
        length = cell
        y1 = trace[i + 1, T_Y]
        if x_end < x0 + cell or math.isnan(y1):
            length = min(x_end - x0, cell)
            y1 = row[R_Y]
        if row[R_LOFT] > x0:  # still in the air over a part of this cell, or all of it
            flown = min(row[R_LOFT] - x0, length)
            y0 += (y1 - y0) * flown / length
            length -= flown
            if length <= 0.0:
                continue
        turns = turns_per_m * length
        swath_shares(y0, y1, swath, par[P_BOARD], shares)
        share = 1.0 - math.exp(-wipe * turns)
        got = 0.0
        for j in range(cols):
            amount = film[i, j] * (share * shares[j])
            film[i, j] -= amount
            got += amount
        decay = loss * turns
        kept = 1.0
        mean = 1.0  # share of what came in evenly over the foot that is still carried at its end
        if decay > 0.0:
            kept = math.exp(-decay)
            mean = -math.expm1(-decay) / decay
        after = carried * kept + got * mean
        down = 0.0
        if loss > 0.0:
            down = (carried + got - after) * (lay / loss)
        for j in range(cols):
            film[i, j] += down * shares[j]
        carried = after
        taken += got
        laid += down
    return taken, laid
