"""Every compiled function of lanesim and every number it uses: the physics, one scalar at a time.

Frame: x down the lane from the foul line, y across it from the edge on the player's ball-arm side,
z up; SI units and radians. The core knows no left-hander: the mirror is applied outside.

State of a ball, 12 numbers::

    x, y, vx, vy | Lx, Ly, Lz | q0, q1, q2, q3 | h

position and velocity of the centre [m, m/s], angular momentum about the centre in the LANE frame
[kg m^2/s], unit quaternion body -> lane, and the oil film carried by the ball's track [m].
Angular momentum instead of the body rates because its rate is just the torque,
dL/dt = (R Fy, -R Fx, Mz): Euler's gyroscopic terms need no separate writing, and while the ball
spins fast L moves slowly, so that large steps stay accurate.

| module | what is there |
|---|---|
| columns | columns of parameters, results and traces; shared numbers; no numba |
| maths | exponential, logarithm, quaternions, small matrices |
| film, friction | oil on the lane at a point; mixed lubrication and the oil on the track |
| body, laws | the rigid ball; the right-hand sides of sliding and rolling |
| start | the state at the foul line |
| rows, pack, method | the batch's arrays; shots side by side; coefficients and tolerances |
| stages, creep, steps, events | a step: its stages, sticking and slipping, length, end |
| chunk, oil | whole shots through the pack; oil taken and laid down |
| compiling, store | how functions are compiled, and where compiled code is kept |

`from lanesim.motion import kernels as k` gives the columns, and what Python calls: those functions
are loaded when they are first asked for, so that the columns cost no compiler.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from .columns import *  # noqa: F403

if TYPE_CHECKING:
    from .body import roll_projection as roll_projection
    from .body import slip_velocity as slip_velocity
    from .chunk import throw_chunk as throw_chunk
    from .events import pin_gap as pin_gap
    from .film import film_at as film_at
    from .laws import roll_derivative as roll_derivative
    from .laws import roll_rates as roll_rates
    from .laws import slide_derivative as slide_derivative
    from .laws import slide_rates as slide_rates
    from .maths import rotation_matrix as rotation_matrix
    from .oil import carry_oil as carry_oil
    from .start import release_state as release_state

# What Python calls, and where it is: these alone are kept on disk.
CALLED = {
    "rotation_matrix": "maths",
    "film_at": "film",
    "slip_velocity": "body",
    "roll_projection": "body",
    "slide_rates": "laws",
    "roll_rates": "laws",
    "slide_derivative": "laws",
    "roll_derivative": "laws",
    "release_state": "start",
    "pin_gap": "events",
    "throw_chunk": "chunk",
    "carry_oil": "oil",
}


def __getattr__(name: str) -> Any:
    if name not in CALLED:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(import_module(f".{CALLED[name]}", __name__), name)
    globals()[name] = value  # the next time it is found without this function
    return value
