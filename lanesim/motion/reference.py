"""The reference integrator: solve_ivp, a smooth right-hand side per regime, located events.

Slow and trustworthy: the batch engine is measured against it. Every switch (slip ends, traction
breaks, the contact stops pivoting, gutter, pins, end of the deck) is a terminal event.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.integrate import solve_ivp

from . import kernels as k

SLIDE = 0
ROLL = 1

_MAX_STEP_S = 0.02  # short enough that no gutter is stepped over (0.17 m at 8.3 m/s)
_MAX_STEP_AT_PINS_S = 1e-3  # a glance that two steps straddle is then less than 0.1 mm deep
_BEFORE_PINS_M = 0.03
_MAX_SEGMENTS = 400
_MAX_TIME_S = 60.0


@dataclass(frozen=True)
class Segment:
    """One stretch of motion in one regime: times [s], states (12, n), and the dense solution."""

    regime: int
    pivot_sign: float
    t: np.ndarray
    states: np.ndarray
    dense: Callable[[float], np.ndarray]


@dataclass(frozen=True)
class ReferencePath:
    """A whole path: its segments, how it ended (kernels.END_*), the pin index touched, and work.

    evaluations counts right-hand-side calls, so that tests can watch the cost without a clock.
    """

    segments: tuple[Segment, ...]
    end: int
    pin: int
    evaluations: int

    @property
    def final_time(self) -> float:
        """Time [s] from the release to the end."""
        return float(self.segments[-1].t[-1])

    @property
    def final_state(self) -> np.ndarray:
        """The 12 numbers at the end."""
        return self.segments[-1].states[:, -1]

    def time_at(self, x: float) -> float:
        """Time [s] at which the ball last passed x [m]; clipped to the path's ends."""
        low, high = 0.0, self.final_time
        for segment in self.segments:
            if segment.states[0, -1] >= x:
                low, high = float(segment.t[0]), float(segment.t[-1])
                break
        for _ in range(60):
            middle = 0.5 * (low + high)
            if self.state_at(middle)[0] < x:
                low = middle
            else:
                high = middle
        return high

    def state_at(self, t: float) -> np.ndarray:
        """The 12 numbers at time t [s]; clipped to the path's ends."""
        for segment in self.segments:
            if t <= segment.t[-1]:
                return segment.dense(max(t, segment.t[0]))
        return self.final_state


def _terminal(function, direction: float = 0.0):
    function.terminal = True
    function.direction = direction
    return function


def _place_events(film, par, pins):
    """Events that end the shot in any regime: gutter either side, a pin, past the deck."""
    width = par[k.P_LANE_WIDTH]
    return [
        _terminal(lambda t, s: s[1], -1.0),
        _terminal(lambda t, s: s[1] - width, 1.0),
        _terminal(lambda t, s: k.pin_gap(s[0], s[1], pins, par)[0], -1.0),
        _terminal(lambda t, s: s[0] - par[k.P_END_X], 1.0),
        _terminal(lambda t, s: s[2] - 0.05, -1.0),
    ]


_ENDS = (k.END_GUTTER, k.END_GUTTER, k.END_PIN, k.END_PAST, k.END_FAILED)


def integrate(
    state: np.ndarray,
    film: np.ndarray,
    par: np.ndarray,
    pins: np.ndarray,
    *,
    rtol: float = 1e-8,
    method: str = "DOP853",
) -> ReferencePath:
    """Follow a ball from `state` to the pins, a gutter or the end of the deck.

    Parameters
    ----------
    state : (12,) release state; film : (60, 39) cell film [m]; par : (P_COUNT,) parameters;
    pins : (n, 2) pin axes [m]; rtol : relative tolerance, the absolute one scaled per component;
    coarser than 1e-7 it is no longer sure that the end of slip is seen.
    """
    atol = np.array(
        [1e-3, 1e-3, 1e-3, 1e-3, 1e-3, 1e-3, 1e-3, 1e-2, 1e-2, 1e-2, 1e-2, 1e-8]
    ) * max(rtol, 1e-12) * 10
    places = _place_events(film, par, pins)
    rack_x = par[k.P_PINS_X] - par[k.P_PIN_REACH] - _BEFORE_PINS_M
    loft = par[k.P_LOFT]
    regime = SLIDE
    pivot = 0.0
    if state[0] >= loft and np.hypot(*k.slip_velocity(state, par)) <= k.SLIP_END:
        regime, state, pivot = _start_roll(state, film, par)
    t = 0.0
    segments: list[Segment] = []
    evaluations = 0
    end = k.END_FAILED
    pin = -1
    for _ in range(_MAX_SEGMENTS):
        function, switches = _regime_problem(regime, pivot, film, par)
        in_the_air = state[0] < loft
        if in_the_air:
            switches = [_terminal(lambda t, s: s[0] - loft, 1.0)]
        before_rack = len(pins) > 0 and state[0] < rack_x - 1e-9
        if before_rack:
            switches = [*switches, _terminal(lambda t, s: s[0] - rack_x, 1.0)]
        solution = solve_ivp(
            function, (t, _MAX_TIME_S), state, method=method, rtol=rtol, atol=atol,
            events=places + switches, dense_output=True,
            max_step=_MAX_STEP_S if before_rack or len(pins) == 0 else _MAX_STEP_AT_PINS_S,
        )
        evaluations += solution.nfev
        segments.append(Segment(regime, pivot, solution.t, solution.y, solution.sol))
        t = float(solution.t[-1])
        state = solution.y[:, -1].copy()
        state[7:11] /= np.linalg.norm(state[7:11])
        fired = [n for n, times in enumerate(solution.t_events) if len(times)]
        if solution.status != 1 or not fired:
            break
        first = fired[0]
        if first < len(places):
            end = _ENDS[first]
            if end == k.END_PIN:
                pin = int(k.pin_gap(state[0], state[1], pins, par)[1])
            break
        if before_rack and first == len(places) + len(switches) - 1:
            state[0] = max(state[0], rack_x)  # same regime, shorter steps among the pins
            continue
        if in_the_air:
            state[0] = max(state[0], loft)
            if np.hypot(*k.slip_velocity(state, par)) <= k.SLIP_END:
                regime, state, pivot = _start_roll(state, film, par)
            continue
        regime, state, pivot = _switch(regime, pivot, first - len(places), state, film, par)
    return ReferencePath(tuple(segments), end, pin, evaluations)


def _regime_problem(regime, pivot, film, par):
    if regime == SLIDE:

        def slide(t, s):
            out = np.empty(12)
            k.slide_derivative(s, film, par, out)
            return out

        def slip_ends(t, s):
            ux, uy = k.slip_velocity(s, par)
            return (ux * ux + uy * uy) ** 0.5 - k.SLIP_END

        return slide, [_terminal(slip_ends, -1.0)]

    def roll(t, s):
        out = np.empty(12)
        k.roll_derivative(s, pivot, film, par, out)
        return out

    def traction_breaks(t, s):
        return k.roll_rates(*s, pivot, film, par)[14] - k.TRACTION_MARGIN

    def pivot_changes(t, s):
        r = k.roll_rates(*s, pivot, film, par)
        if pivot == 0.0:
            return abs(r[15]) - k.TRACTION_MARGIN * r[16]
        return pivot * r[9]

    switches = [_terminal(traction_breaks, 1.0)]
    if par[k.P_CONTACT_A] > 0.0:
        switches.append(_terminal(pivot_changes, 1.0 if pivot == 0.0 else -1.0))
    return roll, switches


def _start_roll(state, film, par):
    """Enter rolling: end the remaining slip by an impulse at the contact, choose the pivot's sign.

    Where rolling would need more force than friction gives, slip passes through zero and goes on.
    """
    state = state.copy()
    state[2:7] = k.roll_projection(*state[2:11], par)
    pivot = _pivot_sign(state, film, par)
    if k.roll_rates(*state, pivot, film, par)[14] > k.TRACTION_MARGIN:
        state[2:4], state[4:7] = break_loose(state, pivot, film, par)
        return SLIDE, state, 0.0
    return ROLL, state, pivot


def _pivot_sign(state, film, par, spin_tolerance: float = 1e-7) -> float:
    """Which way the contact turns while rolling: the sign of wz, or 0 if friction can hold it."""
    if par[k.P_CONTACT_A] == 0.0:
        return 1.0  # no pivot torque at all: the sign does not matter
    r = k.roll_rates(*state, 0.0, film, par)
    if abs(r[9]) > spin_tolerance:
        return float(np.sign(r[9]))
    if abs(r[15]) <= k.TRACTION_MARGIN * r[16]:
        return 0.0
    # the contact cannot hold: wz starts against the torque that would have been needed
    return float(-np.sign(r[15]))


def _switch(regime, pivot, which, state, film, par):
    """The regime, state and pivot sign after a switch event."""
    if regime == SLIDE:
        return _start_roll(state, film, par)
    state = state.copy()
    if which == 0:
        state[2:4], state[4:7] = break_loose(state, pivot, film, par)
        return SLIDE, state, 0.0
    return ROLL, state, _pivot_sign(state, film, par)


def break_loose(state, pivot, film, par):
    """Velocity and spin at which a rolling ball starts to slide: a nudge along the excess force.

    The contact point starts to move against the force that rolling would have needed; the nudge
    (kernels.RESLIDE_SLIP) only gives the direction. It is put into velocity and spin together as
    an impulse at the contact would, so that K stays, and energy to the square of the nudge.
    """
    r = k.roll_rates(*state, pivot, film, par)
    force = np.array([-r[5], r[4]])  # R F, from the rate of the angular momentum
    velocity = np.array([r[0], r[1]]) - k.RESLIDE_SLIP * force / np.hypot(*force)
    kx = state[4] - par[k.P_MASS] * par[k.P_RADIUS] * state[3]
    ky = state[5] + par[k.P_MASS] * par[k.P_RADIUS] * state[2]
    momentum = np.array([
        kx + par[k.P_MASS] * par[k.P_RADIUS] * velocity[1],
        ky - par[k.P_MASS] * par[k.P_RADIUS] * velocity[0],
        state[6],
    ])
    return velocity, momentum
