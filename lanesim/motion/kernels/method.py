"""The batch's Runge-Kutta coefficients, tolerances and limits.

Coefficients: Dormand & Prince, J. Comput. Appl. Math. 6, 19 (1980), 5(4), first stage same as last.
"""

from __future__ import annotations

A21 = 1 / 5
A31, A32 = 3 / 40, 9 / 40
A41, A42, A43 = 44 / 45, -56 / 15, 32 / 9
A51, A52, A53, A54 = 19372 / 6561, -25360 / 2187, 64448 / 6561, -212 / 729
A61, A62, A63, A64, A65 = 9017 / 3168, -355 / 33, 46732 / 5247, 49 / 176, -5103 / 18656
A71, A73, A74, A75, A76 = 35 / 384, 500 / 1113, 125 / 192, -2187 / 6784, 11 / 84
E1, E3, E4, E5, E6, E7 = 71 / 57600, -71 / 16695, 71 / 1920, -17253 / 339200, 22 / 525, -1 / 40
RK_POWER = -1 / 5

# Error that one step may make, per component; benchmarks/README.md has the table they came from.
TOL_X = 2e-4  # [m]
TOL_Y = 4e-5  # [m]
TOL_V = 2e-4  # [m/s], also for R L / I
TOL_THETA = 4e-3  # [rad]
TOL_H = 2e-9  # [m]
STEP_FIRST = 0.01  # [s]
STEP_MIN = 1e-7
JUMP = 1e-7  # [s] half of a step over a jump
SLIDE_TURN = 2.2  # [rad] turn of the ball per sliding or rolling step
CREEP_SLIP = 0.03  # [m/s] slip below which steps are taken by `creep_law`
CREEP_LEAVE = 0.12  # [m/s] slip above which they are not any more
CREEP_TURN = 0.4  # [rad] turn of the ball per creep step
CREEP_LONGEST = 0.02  # [s]
GRIP_SAFE = 0.95  # traction never breaks while the bound on its use stays below this
MAX_STEPS = 5000
STOPPED = 0.05  # [m/s] a ball slower than this down the lane is given up
