"""The same ball on the same constant friction in an independent rigid-body engine, MuJoCo.

MuJoCo (Todorov, Erez & Tassa, IROS 2012; test-only) knows nothing of our equations: it has a ball
on a plane with elliptic Coulomb friction, soft contacts and a fixed time step. Its contact is made
stiffer along with the step (time constant ten steps, critically damped), so that both its errors,
the step's and the softness', go to zero together: the test shows that they do, and compares.
Row of physics page, section 12: path within 1 mm.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from core_setup import (
    DRY,
    MIDDLE_M,
    NO_PINS,
    bare_parameters,
    released_spin,
    start_state,
)

from lanesim.lane.geometry import BALL_RADIUS_M
from lanesim.motion import reference
from lanesim.units import GRAVITY_MS2, INCH_M

mujoco = pytest.importorskip("mujoco")

MASS = 6.8
MU = 0.12
SECONDS = 2.1
HEADING_DEG = -2.5
VELOCITY = 8.3 * np.array([math.cos(math.radians(HEADING_DEG)),
                           math.sin(math.radians(HEADING_DEG))])
SPIN = released_spin(rev_rpm=436, rotation_deg=45, tilt_deg=15, heading_deg=HEADING_DEG)
ORIENTATION = np.array([0.8, 0.3, -0.4, 0.33]) / np.linalg.norm([0.8, 0.3, -0.4, 0.33])

SPHERE = (0.34 * MASS * BALL_RADIUS_M**2,) * 3
CORED = tuple(MASS * (r * INCH_M) ** 2 for r in (2.48, 2.515, 2.535))


def mujoco_path(inertia, step_s):
    """Times (n,) and places (n, 2) [m] of the ball in MuJoCo."""
    ixx, iyy, izz = inertia
    quaternion = " ".join(f"{q:.17g}" for q in ORIENTATION)
    model = mujoco.MjModel.from_xml_string(f"""
    <mujoco>
      <option timestep="{step_s}" cone="elliptic" integrator="RK4" solver="Newton"
              tolerance="1e-14" iterations="100" gravity="0 0 -{GRAVITY_MS2}"/>
      <worldbody>
        <geom name="lane" type="plane" size="0 0 1"/>
        <body name="ball" pos="0 0 {BALL_RADIUS_M:.17g}" quat="{quaternion}">
          <freejoint/>
          <inertial pos="0 0 0" mass="{MASS}" diaginertia="{ixx:.17g} {iyy:.17g} {izz:.17g}"/>
          <geom name="cover" type="sphere" size="{BALL_RADIUS_M:.17g}"/>
        </body>
      </worldbody>
      <contact>
        <pair geom1="lane" geom2="cover" condim="3" friction="{MU} {MU}"
              solref="{10 * step_s} 1" solimp="0.9999 0.9999 0.001"/>
      </contact>
    </mujoco>""")
    data = mujoco.MjData(model)
    turn = np.empty(9)
    mujoco.mju_quat2Mat(turn, ORIENTATION)
    data.qvel[:3] = [*VELOCITY, 0.0]
    data.qvel[3:] = turn.reshape(3, 3).T @ SPIN  # a free joint holds its spin in the body frame
    times, places = [0.0], [[0.0, 0.0]]
    for _ in range(round(SECONDS / step_s)):
        mujoco.mj_step(model, data)
        times.append(data.time)
        places.append(data.qpos[:2].copy())
    return np.array(times), np.array(places)


def our_path(inertia):
    par = bare_parameters(mu=MU, moments=inertia, mass=MASS, end_x=18.5)
    state = start_state(
        velocity=tuple(VELOCITY), omega=tuple(SPIN), par=par, quaternion=tuple(ORIENTATION)
    )
    path = reference.integrate(state, DRY, par, NO_PINS, rtol=1e-10)
    assert path.final_time > SECONDS
    assert {s.regime for s in path.segments} == {reference.SLIDE, reference.ROLL}
    return path


@pytest.mark.parametrize("inertia", [SPHERE, CORED], ids=["uniform sphere", "asymmetric core"])
def test_path_within_a_millimetre(inertia):
    """Sliding and rolling, uniform and cored ball: within 1 mm at every step size, and converging.

    The cored ball goes beyond the table's row: it checks the gyroscopic terms on both regimes.
    """
    path = our_path(inertia)
    errors = []
    for step_s in (2e-3, 1e-3, 5e-4):
        times, places = mujoco_path(inertia, step_s)
        ours = np.array([path.state_at(t)[:2] for t in times[::20]]) - [0.0, MIDDLE_M]
        errors.append(float(np.max(np.linalg.norm(places[::20] - ours, axis=1))))
    assert max(errors) < 1e-3, f"path differs by {errors} m"
    assert errors[-1] < 0.5 * errors[0], f"MuJoCo does not converge on our path: {errors} m"
