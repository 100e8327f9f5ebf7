"""Shots per second of the batch engine, the reference and two general-purpose ODE solvers.

    python -m benchmarks.engine                  # everything, some minutes
    python -m benchmarks.engine --budget 20      # stop growing the batch after 20 s a size

All in one run on one machine, so that the ratios mean something. Two problems:

1. "slide": the same player's shots, followed from the foul line to 42 ft, where all of them still
   slide. No event is needed, so general-purpose solvers can do it: the same equations in JAX
   (diffrax, vmapped, written again below) and lanesim's own compiled right-hand side in the
   numba-callable solvers of CyRK. For them distance is the independent variable, d/dx =
   (d/dt)/vx, so that everybody stops at the same place.
2. "pins": whole shots with rolling, switches, gutters and pin contact: the engine against the
   reference, which are the only two that can.

Processor time (all threads) is given beside the clock's: on a machine that is busy with other
work the clock tells little, the processor time still does.

Errors are against the reference at rtol 1e-11: worst and median difference in board and degree.
Solvers whose package is missing are left out with a line saying so (extra "bench").
"""

from __future__ import annotations

import argparse
import math
import os
import platform
import time
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from lanesim.catalog import load_ball, load_pattern_named, named_spread
from lanesim.lane.geometry import BOARD_M, LANE_WIDTH_M
from lanesim.motion import batch, reference, setup
from lanesim.motion import kernels as k
from lanesim.player import Release, sample_releases
from lanesim.units import FOOT_M

SLIDE_M = 42 * FOOT_M
BALL = "strong-asym"
PATTERN = "medium-42"
RELEASE = Release(18.6, 436, 45, 15, laydown_board=24, launch_angle_deg=-2.8)
LEVEL = "200"
SEED = 20
NO_PINS = np.zeros((0, 2))


@dataclass(frozen=True)
class Problem:
    """One set of shots in the core's own terms."""

    shots: np.ndarray
    states: np.ndarray
    pap: np.ndarray
    par: np.ndarray
    film: np.ndarray
    pins: np.ndarray


def problem(count: int, *, to_pins: bool) -> Problem:
    """`count` shots of a 200-level player's spread; to the pins, or to 42 ft with nothing there."""
    ball, pattern = load_ball(BALL), load_pattern_named(PATTERN)
    par = setup.parameter_vector(ball, viscosity_cp=pattern.viscosity_cp)
    if not to_pins:
        # the engine looks for the end only from the pins on, so both move to the stretch's end
        par[k.P_END_X] = par[k.P_PINS_X] = SLIDE_M
    shots = setup.shot_matrix(sample_releases(RELEASE, named_spread(LEVEL), count, SEED))
    pap = ball.inertia.pap_array
    states = np.array([setup.release_vector(s, pap, par) for s in shots[: min(count, 5000)]])
    pins = setup.pin_array() if to_pins else NO_PINS
    return Problem(shots, states, pap, par, pattern.film_m("right"), pins)


def run_engine(p: Problem) -> np.ndarray:
    """Board and heading [deg] at the end, (n, 2)."""
    which = np.zeros(len(p.shots))
    rows = batch.run(p.shots, which, p.pap[None], p.par[None], p.film, p.pins).rows
    return np.column_stack([
        rows[:, k.R_Y] / BOARD_M + 0.5, np.degrees(np.arctan2(rows[:, k.R_VY], rows[:, k.R_VX])),
    ])


def run_reference(p: Problem, rtol: float) -> np.ndarray:
    """As `run_engine`, by the reference integrator; checks that a stretch only slides."""
    out = []
    for state in p.states:
        path = reference.integrate(state, p.film, p.par, p.pins, rtol=rtol)
        if len(p.pins) == 0 and any(s.regime == reference.ROLL for s in path.segments):
            raise RuntimeError("a shot of the slide problem rolls before its end; shorten it")
        last = path.final_state
        out.append((last[1] / BOARD_M + 0.5, math.degrees(math.atan2(last[3], last[2]))))
    return np.array(out)


# ------------------------------------------------------------------------------ CyRK (numba)


def cyrk_runner(method: int) -> Callable[[Problem, float], np.ndarray]:
    """lanesim's compiled sliding equations in CyRK's numba-callable solver, parallel over shots."""
    from CyRK import nbsolve_ivp
    from numba import njit, prange

    slide = k.slide_derivative

    @njit
    def by_distance(x, z, film, par):
        state = z.copy()
        state[0] = x
        out = np.empty(12)
        slide(state, film, par, out)
        out[0] = 1.0
        return out / state[2]

    @njit(parallel=True)
    def many(starts, end, film, par, rtol, atols, out):
        rtols = np.full(12, rtol)
        for n in prange(starts.shape[0]):
            z = starts[n].copy()
            z[0] = 0.0
            solution = nbsolve_ivp(
                by_distance, (0.0, end), z, (film, par), 1e-3, 1e-6, rtols, atols, np.inf, 0.01,
                method, np.empty(0, dtype=np.float64), False, False, 0, False,
            )
            y, ok = solution.y, solution.success
            last = y.shape[1] - 1
            out[n, 0] = y[1, last]
            out[n, 1] = y[2, last]
            out[n, 2] = y[3, last] if ok else np.nan

    def run(p: Problem, rtol: float) -> np.ndarray:
        out = np.empty((len(p.states), 3))
        many(p.states, SLIDE_M, p.film, p.par, rtol, ATOL * rtol, out)
        return np.column_stack([
            out[:, 0] / BOARD_M + 0.5, np.degrees(np.arctan2(out[:, 2], out[:, 1])),
        ])

    return run


# absolute tolerances over rtol: t, y, vx, vy, L, q, h in their natural sizes
ATOL = np.array([1, 1, 1, 1, 0.1, 0.1, 0.1, 1, 1, 1, 1, 1e-6])


# ------------------------------------------------------------------------------ diffrax (JAX)


def diffrax_runner(solver_name: str) -> Callable[[Problem, float], np.ndarray]:
    """Physics page, sections 4, 6 and 7, written again in JAX and vmapped over the shots."""
    import jax

    jax.config.update("jax_enable_x64", True)
    import diffrax
    import jax.numpy as jnp

    solver = getattr(diffrax, solver_name)()

    def film_at(x, y, film):
        rows, cols = film.shape
        fx, fy = x / FOOT_M, y / BOARD_M
        i = jnp.floor(fx).astype(int)
        j = jnp.clip(jnp.floor(fy).astype(int), 0, cols - 1)
        tx, ty = fx - i - 0.5, jnp.clip(fy - j - 0.5, -0.5, 0.5)

        def weights(t):
            return jnp.array([0.5 * (0.5 - t) ** 2, 0.75 - t * t, 0.5 * (0.5 + t) ** 2])

        take_rows = i + jnp.arange(-1, 2)
        take_cols = jnp.clip(j + jnp.arange(-1, 2), 0, cols - 1)
        near = film[jnp.clip(take_rows, 0, rows - 1)][:, take_cols]
        near = jnp.where((take_rows < rows)[:, None], near, 0.0)
        return weights(tx) @ near @ weights(ty)

    def rates(x, z, args):
        film, par = args
        _, y, vx, vy = z[:4]
        q0, qv, h = z[7], z[8:11], z[11]
        radius, mass, g = par[k.P_RADIUS], par[k.P_MASS], par[k.P_GRAVITY]
        inertia = par[k.P_I1 : k.P_I3 + 1]
        s = 2.0 / (q0 * q0 + qv @ qv)
        cross = jnp.array([[0, -qv[2], qv[1]], [qv[2], 0, -qv[0]], [-qv[1], qv[0], 0]])
        turn = jnp.eye(3) + s * (q0 * cross + cross @ cross)
        body = (turn.T @ z[4:7]) / inertia
        w = turn @ body
        slip = jnp.array([vx - radius * w[1], vy + radius * w[0]])
        speed = jnp.sqrt(slip @ slip)
        lane = film_at(x, y, film)
        effective = par[k.P_CHI] * (lane + h)
        ratio = effective / (par[k.P_SIGMA] * par[k.P_LAMBDA_REF])
        phi = jnp.exp(-(ratio ** par[k.P_LAMBDA_POWER]))
        a = par[k.P_CONTACT_A]
        viscous = par[k.P_VISCOSITY] * speed * jnp.pi * a**2 / (
            jnp.maximum(effective, 1e-15) * mass * g
        )
        mu = phi * par[k.P_MU_DRY] + (1 - phi) * jnp.minimum(viscous, par[k.P_FILM_CAP])
        acceleration = -mu * g * slip / speed
        pivot = -(3 * jnp.pi / 16) * mu * mass * g * a * a * w[2] / (
            a * jnp.abs(w[2]) + 15 * jnp.pi / 16 * speed
        )
        force = mass * acceleration
        torque = jnp.array([radius * force[1], -radius * force[0], pivot])
        dq0 = -0.5 * (w @ qv)
        dqv = 0.5 * (q0 * w + jnp.cross(w, qv))
        gyro = jnp.cross(inertia * body, body) / inertia
        spin2 = body @ body
        across = gyro - (gyro @ body) / spin2 * body
        axis_speed = jnp.sqrt(across @ across / spin2)
        turns = jnp.sqrt(spin2) / (2 * jnp.pi)
        overlap = jnp.exp(-((radius * axis_speed / turns / par[k.P_RING_WIDTH]) ** 2))
        dh = turns * (par[k.P_PICKUP] * lane - h * (1 - overlap + par[k.P_UPTAKE]))
        out = jnp.concatenate([
            jnp.array([1.0, vy]), acceleration, torque, jnp.array([dq0]), dqv, jnp.array([dh]),
        ])
        return out / vx

    term = diffrax.ODETerm(rates)

    @jax.jit
    def many(starts, film, par, rtol):
        control = diffrax.PIDController(rtol=rtol, atol=jnp.asarray(ATOL) * rtol)

        def one(start):
            solution = diffrax.diffeqsolve(
                term, solver, 0.0, SLIDE_M, 0.05, start, args=(film, par),
                stepsize_controller=control, saveat=diffrax.SaveAt(t1=True), max_steps=20000,
            )
            return solution.ys[0]

        return jax.vmap(one)(starts)

    def run(p: Problem, rtol: float) -> np.ndarray:
        starts = p.states.copy()
        starts[:, 0] = 0.0
        z = np.asarray(many(starts, p.film, p.par, rtol))
        return np.column_stack([
            z[:, 1] / BOARD_M + 0.5, np.degrees(np.arctan2(z[:, 3], z[:, 2])),
        ])

    return run


# ------------------------------------------------------------------------------ measuring


@dataclass(frozen=True)
class Cost:
    """Seconds of the clock, and of processor time over all threads."""

    wall_s: float
    cpu_s: float


def measure(work: Callable[[], np.ndarray], repeats: int = 3) -> tuple[Cost, np.ndarray]:
    """Least of `repeats` timings after one warm-up that compiles; and the last result."""
    result = work()
    wall = cpu = math.inf
    for _ in range(repeats):
        clock, processor = time.perf_counter(), time.process_time()
        result = work()
        wall = min(wall, time.perf_counter() - clock)
        cpu = min(cpu, time.process_time() - processor)
    return Cost(wall, cpu), result


def take_turns(
    works: list[Callable[[], np.ndarray]], rounds: int = 4
) -> list[tuple[Cost, np.ndarray]]:
    """Mean cost of each over rounds in which all take turns, after one warm-up; the last results.

    For a ratio on a shared machine, whose speed wanders by a third within a minute: a slow stretch
    then falls on all of them.
    """
    results = [work() for work in works]
    wall, cpu = np.zeros(len(works)), np.zeros(len(works))
    for _ in range(rounds):
        for n, work in enumerate(works):
            clock, processor = time.perf_counter(), time.process_time()
            results[n] = work()
            wall[n] += time.perf_counter() - clock
            cpu[n] += time.process_time() - processor
    return [(Cost(w / rounds, c / rounds), result)
            for w, c, result in zip(wall, cpu, results, strict=True)]


@dataclass(frozen=True)
class Row:
    """One line of a table."""

    name: str
    shots: int
    per_second: float
    per_cpu_second: float
    board: np.ndarray
    angle: np.ndarray


def row(name: str, count: int, spent: Cost, got: np.ndarray, truth: np.ndarray) -> Row:
    """Errors over the shots that the truth covers."""
    error = np.abs(got[: len(truth)] - truth)
    return Row(
        name, count, count / spent.wall_s, count / spent.cpu_s, error[:, 0], error[:, 1]
    )


def table(rows: list[Row], base: str) -> str:
    """Markdown with the ratio to the row called `base`."""
    unit = next(r for r in rows if r.name == base)
    lines = [
        f"| solver | shots timed | shots/s | times the {base} | shots per processor second | "
        "times | board error median, worst | deg error median, worst |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for r in rows:
        lines.append(
            f"| {r.name} | {r.shots} | {r.per_second:,.0f} | "
            f"{r.per_second / unit.per_second:,.0f} | "
            f"{r.per_cpu_second:,.0f} | {r.per_cpu_second / unit.per_cpu_second:,.0f} | "
            f"{np.median(r.board):.1e}, {np.max(r.board):.1e} | "
            f"{np.median(r.angle):.1e}, {np.max(r.angle):.1e} |"
        )
    return "\n".join(lines)


def slide_table(truth_shots: int, batch_shots: int) -> str:
    """Problem 1."""
    small = problem(truth_shots, to_pins=False)
    truth = run_reference(small, 1e-11)
    rows = []
    for rtol in (1e-9, 1e-6):
        spent, got = measure(lambda rtol=rtol: run_reference(small, rtol), repeats=1)
        rows.append(row(f"reference, rtol {rtol:g}", truth_shots, spent, got, truth))
    large = problem(batch_shots, to_pins=False)
    spent, got = measure(lambda: run_engine(large))
    rows.append(row("lanesim batch engine", batch_shots, spent, got, truth))
    medium = problem(min(batch_shots, 2000), to_pins=False)
    missing = []
    for label, make in (
        ("CyRK RK45", lambda: cyrk_runner(1)),
        ("CyRK DOP853", lambda: cyrk_runner(2)),
        ("diffrax Tsit5", lambda: diffrax_runner("Tsit5")),
        ("diffrax Dopri8", lambda: diffrax_runner("Dopri8")),
    ):
        try:
            runner = make()
        except ImportError as error:
            missing.append(f"{label} left out: {error}. Install with: pip install 'lanesim[bench]'")
            continue
        for rtol in (1e-4, 1e-6):
            spent, got = measure(lambda rtol=rtol, runner=runner: runner(medium, rtol), repeats=2)
            rows.append(row(f"{label}, rtol {rtol:g}", len(medium.states), spent, got, truth))
    return "\n".join([table(rows, "reference, rtol 1e-09"), *missing])


def pins_table(truth_shots: int, batch_shots: int) -> str:
    """Problem 2."""
    small, large = problem(truth_shots, to_pins=True), problem(batch_shots, to_pins=True)
    truth = run_reference(small, 1e-11)
    names = ("reference, rtol 1e-09", "reference, rtol 1e-06", "lanesim batch engine")
    taken = take_turns([lambda: run_reference(small, 1e-9), lambda: run_reference(small, 1e-6),
                        lambda: run_engine(large)])
    counts = (truth_shots, truth_shots, batch_shots)
    return table([row(name, count, spent, got, truth) for name, count, (spent, got)
                  in zip(names, counts, taken, strict=True)], names[0])


def growth_table(budget_s: float, most: int) -> str:
    """Whole shots from 10^3 to 10^6, until a size would take longer than the budget."""
    lines = ["| shots | seconds | shots/s | shots per processor second | peak memory MiB |",
             "|---|---|---|---|---|"]
    run_engine(problem(64, to_pins=True))
    count, spent = 1000, 0.0
    while count <= most and spent * 10 <= budget_s:
        p = problem(count, to_pins=True)
        clock, processor = time.perf_counter(), time.process_time()
        run_engine(p)
        spent = time.perf_counter() - clock
        cpu = time.process_time() - processor
        lines.append(f"| {count:,} | {spent:.3f} | {count / spent:,.0f} | {count / cpu:,.0f} | "
                     f"{peak_mib():.0f} |")
        count *= 10
    if count <= most:
        lines.append(f"\n{count:,} shots left out: beyond the budget of {budget_s:g} s")
    return "\n".join(lines)


def peak_mib() -> float:
    """Largest memory of this process so far [MiB]; NaN where the system does not tell."""
    try:
        import resource
    except ImportError:
        return float("nan")
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def machine() -> str:
    """What the numbers were measured on."""
    import numba

    load = os.getloadavg()[0] if hasattr(os, "getloadavg") else float("nan")
    return (f"{platform.machine()}, {os.cpu_count()} cores, {numba.get_num_threads()} threads, "
            f"Python {platform.python_version()}, numba {numba.__version__}; "
            f"load of the machine before the run {load:.1f}")


def main() -> None:
    """Print all tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--budget", type=float, default=60.0, help="seconds for the largest batch")
    parser.add_argument("--most", type=int, default=1_000_000, help="largest batch")
    parser.add_argument("--truth", type=int, default=40, help="shots the reference follows")
    parser.add_argument("--shots", type=int, default=20_000, help="shots to time the engine with")
    options = parser.parse_args()
    print(f"{machine()}\n\n{BALL} on {PATTERN}, level {LEVEL} round {RELEASE.speed_mph:g} mph, "
          f"{RELEASE.rev_rpm:g} rpm; lane {LANE_WIDTH_M:.3f} m\n")
    print("growth of the batch engine's cost, whole shots\n\n"
          + growth_table(options.budget, options.most) + "\n", flush=True)
    print("whole shots to the pins\n\n" + pins_table(options.truth, options.shots) + "\n",
          flush=True)
    print("sliding stretch to 42 ft, no events\n\n" + slide_table(options.truth, options.shots),
          flush=True)


if __name__ == "__main__":
    main()
