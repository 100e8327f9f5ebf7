"""What air, lane and loft do to a strong and a weak ball, in boards at the head pin.

    python -m benchmarks.lane_effects

Each shot is followed by the reference, once as it is by default and once with one thing changed;
shown is where the path meets the front of the head pin (or would, beside it), that board less the
default's, the change of the entry angle and of the speed there. Nothing is random.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from lanesim.catalog import load_ball, load_pattern_named
from lanesim.lane.friction import DEFAULT_FRICTION, FrictionModel
from lanesim.lane.geometry import BOARD_M, HEAD_PIN_M
from lanesim.lane.surface import Lane
from lanesim.motion import kernels as k
from lanesim.motion import reference, setup
from lanesim.player import Release
from lanesim.units import MPH_MS

PATTERN = "medium-42"
SHOTS = {
    "strong": ("strong-asym", Release(18.6, 436, 45, 15, laydown_board=24, launch_angle_deg=-2.4)),
    "weak": ("plastic-spare", Release(18.6, 250, 45, 15, laydown_board=20, launch_angle_deg=-0.8)),
}


def lying(**lane: float) -> FrictionModel:
    return replace(DEFAULT_FRICTION, lane=Lane(**lane))


CHANGES: list[tuple[str, FrictionModel, float]] = [
    ("no air", replace(DEFAULT_FRICTION, drag_coefficient=0.0), 0.0),
    ("drag coefficient 0.4", replace(DEFAULT_FRICTION, drag_coefficient=0.4), 0.0),
    ("left edge 0.040 in higher", lying(tilt_in=0.04), 0.0),
    ("right edge 0.040 in higher", lying(tilt_in=-0.04), 0.0),
    ("crown 0.040 in", lying(crown_in=0.04), 0.0),
    ("dish 0.040 in", lying(crown_in=-0.04), 0.0),
    ("oil at 60 F", lying(temperature_f=60), 0.0),
    ("oil at 80 F", lying(temperature_f=80), 0.0),
    ("loft 3 ft", DEFAULT_FRICTION, 3.0),
    ("loft 6 ft", DEFAULT_FRICTION, 6.0),
    ("film share less by 0.1",
     replace(DEFAULT_FRICTION, film_share=DEFAULT_FRICTION.film_share - 0.1), 0.0),
    ("contact area times 1.6", replace(DEFAULT_FRICTION, effective_modulus_gpa=0.6), 0.0),
]


def arrival(ball: str, release: Release, friction: FrictionModel, loft_ft: float) -> np.ndarray:
    """Board, heading [deg] and speed [mph] at the front of the head pin, pins taken away."""
    thrown, pattern = load_ball(ball), load_pattern_named(PATTERN)
    par = setup.parameter_vector(thrown, viscosity_cp=pattern.viscosity_cp, friction=friction)
    shot = setup.shot_matrix(replace(release, loft_ft=loft_ft).lofted_row())[0]
    par[k.P_LOFT] = shot[7]
    par[k.P_END_X] = HEAD_PIN_M - setup.PIN_REACH_M
    state = setup.release_vector(shot, thrown.inertia.pap_array, par)
    path = reference.integrate(state, pattern.film_m("right"), par, np.zeros((0, 2)))
    if path.end != k.END_PAST:
        raise SystemExit(f"{ball}: the shot ends before the pins")
    _, y, vx, vy = path.final_state[:4]
    return np.array([y / BOARD_M + 0.5, np.degrees(np.arctan2(vy, vx)), np.hypot(vx, vy) / MPH_MS])


def main() -> None:
    """Print the table."""
    print(f"Pattern {PATTERN}. Changes at the head pin: board, heading, speed.")
    usual = {}
    for word, (ball, release) in SHOTS.items():
        usual[word] = arrival(ball, release, DEFAULT_FRICTION, 0.0)
        board, heading, speed = usual[word]
        print(f"{word}: {ball}, {release.speed_mph:g} mph, {release.rev_rpm:g} rpm: board "
              f"{board:.2f}, {heading:.2f} deg, {speed:.2f} mph")
    print(f"{'':28s}" + "".join(f"{word:>26s}" for word in SHOTS))
    for name, friction, loft in CHANGES:
        line = f"{name:28s}"
        for word, (ball, release) in SHOTS.items():
            board, heading, speed = arrival(ball, release, friction, loft) - usual[word]
            line += f"{board:+10.2f} {heading:+7.2f} {speed:+7.2f}"
        print(line)


if __name__ == "__main__":
    main()
