"""The pin deck's blows, flight and shape against closed forms of mechanics.

Sources: textbook mechanics (impact of rigid bodies with Coulomb friction: Routh's construction;
status M), published pin data (facts: R and M, said at each check).
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from lanesim.lane import geometry as lane
from lanesim.pins.deck import blow, layout, pin, roll, touch
from lanesim.pins.deck import nearest as near
from lanesim.units import GRAVITY_MS2, INCH_M, LB_KG

RADIUS = lane.BALL_RADIUS_M
BALL_KG = 15.0 * LB_KG
BALL_I = BALL_KG * (2.52 * INCH_M) ** 2


class Rack:
    """The rows of one small experiment: bodies put where a check wants them."""

    def __init__(self, **par: float) -> None:
        self.q = np.zeros(layout.STATE)
        self.body = np.zeros(layout.BODY)
        self.status = np.full(layout.BODIES, layout.GONE)
        self.pairs = np.zeros(layout.PAIR_ROWS)
        self.par = np.zeros(layout.PARAMETERS)
        self.par[layout.RADIUS] = RADIUS
        self.par[layout.CURTAIN_M] = layout.TAIL_M + 0.75
        for name, value in par.items():
            self.par[getattr(layout, name)] = value

    def ball(self, place, velocity=(0, 0, 0), spin=(0, 0, 0)):
        self.q[:3], self.q[3:6] = place, velocity
        self.q[6:9] = 0, 0, 1
        self.q[9:12] = BALL_I * np.asarray(spin, float)
        self.body[:5] = 1 / BALL_KG, 1 / BALL_I, 1 / BALL_I, RADIUS, BALL_KG
        self.status[0] = layout.MOVES

    def pin(self, number, place, axis=(0, 0, 1), velocity=(0, 0, 0), spin=(0, 0, 0),
            status=layout.MOVES):
        mass, cg, across, along = pin.pin_mass_properties()
        i, k = number * layout.WIDTH, number * layout.BODY_WIDTH
        u = np.asarray(axis, float) / np.linalg.norm(axis)
        w = np.asarray(spin, float)
        self.q[i:i + 3], self.q[i + 3:i + 6], self.q[i + 6:i + 9] = place, velocity, u
        self.q[i + 9:i + 12] = across * w + (along - across) * (w @ u) * u
        self.body[k:k + 7] = 1 / mass, 1 / across, 1 / along, cg, mass, 1.0, 0.0
        self.status[number] = status

    def gather(self) -> int:
        return roll.gather(self.q, self.body, self.status, self.par, self.pairs)

    def blow(self) -> int:
        return blow.solve(self.q, self.body, self.par, self.pairs, self.gather())

    def velocity(self, b):
        return self.q[b * layout.WIDTH + 3:b * layout.WIDTH + 6].copy()

    def momentum(self):
        total, turn = np.zeros(3), np.zeros(3)
        for b in range(layout.BODIES):
            if self.status[b] != layout.GONE:
                i = b * layout.WIDTH
                p = self.body[b * layout.BODY_WIDTH + 4] * self.q[i + 3:i + 6]
                total += p
                turn += np.cross(self.q[i:i + 3], p) + self.q[i + 9:i + 12]
        return total, turn

    def energy(self):
        return sum(roll.energy_of(self.q, self.body, b) for b in range(layout.BODIES)
                   if self.status[b] != layout.GONE)


HIGH = 3.0  # m over the deck: nothing of the building near


def ball_at_belly(side: float, **par) -> Rack:
    """A ball beside an upright pin, touching its belly in the plane of its widest circle."""
    rack = Rack(**par)
    rack.pin(1, (0, 0, HIGH))
    cg = pin.pin_mass_properties()[1]
    s = np.linspace(pin.LOW_M, pin.HIGH_M, 4001)
    rho = np.array([near.radius_at(x)[0] for x in s])
    widest = s[np.argmax(rho)]
    rack.ball((-math.cos(side) * (RADIUS + rho.max() - 1e-6), -math.sin(side) * (
        RADIUS + rho.max() - 1e-6), HIGH - cg + widest))
    rack.arm = widest - cg
    return rack


@pytest.mark.parametrize("e", [0.1, 0.3, 0.5, 0.7, 0.9])
def test_head_on_blow_of_a_free_pin(e):
    # v'/v = 1 - (1 + e) m/(M + m), 1/m = 1/m_pin + h^2/I (textbook; M)
    rack = ball_at_belly(0.0, E_BALL_PIN=e)
    rack.q[3] = 5.0  # the speed that restitutions are given for
    assert rack.blow() == 2
    mass, _, across, _ = pin.pin_mass_properties()
    light = 1.0 / (1.0 / mass + rack.arm**2 / across)
    expected = 5.0 * (1.0 - (1.0 + e) * light / (BALL_KG + light))
    assert rack.velocity(0)[0] == pytest.approx(expected, abs=2e-3)


@pytest.mark.parametrize("mu", [0.02, 0.1, 0.3])
@pytest.mark.parametrize("angle", [0.2, 0.6, 1.1])
def test_oblique_blow_with_friction_slips_or_sticks(mu, angle):
    # Two bodies in a plane, no spin before. With the blow's normal along x and slip along y:
    # slip v_t is used up by an impulse m_t v_t; if mu times the normal impulse is less, it slips
    # all through and J_t = mu J_n, else J_t = m_t v_t (Routh; M). The pin's centre of gravity is
    # put at its belly's height, so that the push turns nothing and both stay in the plane.
    e, speed = 0.7, 5.0
    rack = ball_at_belly(0.0, E_BALL_PIN=e, MU_BALL_PIN=mu)
    rack.body[layout.BODY_WIDTH + 3] += rack.arm
    rack.q[14] += rack.arm
    rack.q[3:5] = speed * math.cos(angle), speed * math.sin(angle)
    rack.blow()
    mass, _, _, along = pin.pin_mass_properties()
    light = 1.0 / (1.0 / mass + 1.0 / BALL_KG)
    normal = (1.0 + e) * light * speed * math.cos(angle)
    # the slip is braked through both masses and both spins about z
    across_mass = 1.0 / (1.0 / light + pin.WIDEST_M**2 / along + RADIUS**2 / BALL_I)
    side = min(mu * normal, across_mass * speed * math.sin(angle))
    assert rack.velocity(1)[0] * mass == pytest.approx(normal, rel=2e-3)
    assert rack.velocity(1)[1] * mass == pytest.approx(side, rel=2e-3)
    spin = np.array(blow.spin_of(rack.q, rack.body, 0))
    # the push meets the ball at its far side from where it came: y push at +x turns it by -R J
    assert spin[2] * BALL_I == pytest.approx(-RADIUS * side, rel=2e-3)


def test_blows_keep_momentum_and_lose_energy():
    rng = np.random.default_rng(1)
    hits = 0
    for _ in range(300):
        rack = Rack(E_BALL_PIN=0.7, E_PIN_PIN=0.65, MU_BALL_PIN=0.2, MU_PIN_PIN=0.3, FADE=0.05)
        rack.pin(1, (0, 0, HIGH), rng.normal(size=3), rng.normal(size=3), 10 * rng.normal(size=3))
        rack.pin(2, rng.normal(size=3) * 0.12 + (0, 0, HIGH), rng.normal(size=3),
                 rng.normal(size=3), 10 * rng.normal(size=3))
        # slide the second pin out along a line until they touch
        way = rack.q[24:27] - (0, 0, HIGH)
        way /= np.linalg.norm(way)
        low, high = 0.0, 0.6
        for _ in range(60):
            middle = 0.5 * (low + high)
            rack.q[24:27] = np.array([0, 0, HIGH]) + middle * way
            n = rack.gather()
            gap = rack.pairs[layout.GAP] if n else 1.0
            low, high = (middle, high) if gap < 0.0 else (low, middle)
        rack.gather()
        before, energy = rack.momentum(), rack.energy()
        if rack.blow() == 2:
            hits += 1
            after = rack.momentum()
            assert np.allclose(before[0], after[0], atol=1e-9)
            # both arms end in the same point
            assert np.allclose(before[1], after[1], atol=1e-9)
            assert rack.energy() <= energy * (1 + 1e-12)
    assert hits > 60


def test_nearest_places_against_many_points():
    # gaps of a pin and a ball, and of two pins, where they are about to touch, against a search
    # over fine grids of places on the axes
    rng = np.random.default_rng(2)
    s = np.linspace(pin.LOW_M, pin.HIGH_M, 1201)
    rho = np.array([near.radius_at(x)[0] for x in s])
    pins = balls = 0
    for _ in range(1500):
        u, v = (x / np.linalg.norm(x) for x in rng.normal(size=(2, 3)))
        w = rng.normal(size=3) * 0.2
        point = (np.linalg.norm(w - s[:, None] * v, axis=1) - rho).min()
        if RADIUS - 0.002 < point < RADIUS + 0.02:
            balls += 1
            assert near.to_point(*w, *v)[0] == pytest.approx(point, abs=1e-5)
        if near.segment_distance2(*w, *u, *v) > (2 * pin.WIDEST_M + 0.02) ** 2:
            continue
        one, two = w + s[::3, None] * u, s[::3, None] * v
        grid = (np.linalg.norm(one[:, None] - two[None], axis=2) - rho[::3, None]
                - rho[None, ::3]).min()
        if -0.002 < grid < 0.02:
            pins += 1
            # the grid's own step is 0.8 mm
            assert grid - 5e-4 < near.to_pin(*w, *u, *v)[0] < grid + 2e-4
    assert pins > 40
    assert balls > 40


def test_swept_shape_is_the_published_profile():
    # heights and diameters (M, four corroborated): within 0.02 in from 1 in up, the lowest inch
    # is rounder
    heights, diameters = np.array(lane.PIN_PROFILE_IN).T
    found = pin.swept_radius(heights[heights > 1.0] * INCH_M) / INCH_M
    assert np.abs(found - diameters[heights > 1.0] / 2.0).max() < 0.02
    z, r = pin.profile()
    high = (z > 1.0 * INCH_M) & (z < 14.99 * INCH_M)
    assert np.abs(pin.swept_radius(z[high]) - r[high]).max() / INCH_M < 0.02


def test_free_flight_is_a_parabola_and_a_steady_turn():
    # torque-free body of revolution: the axis goes round the angular momentum at L/I_across (M)
    rack = Rack()
    rack.pin(1, (0, 0, HIGH), (0.3, 0.2, 1.0), (3.0, -1.0, 2.0), (8.0, 2.0, 15.0))
    start, moment = rack.q[12:15].copy(), rack.q[21:24].copy()
    axis = rack.q[18:21].copy()
    energy = rack.energy()
    for _ in range(250):
        roll.fly(rack.q, rack.body, rack.status, 1e-3)
    t = 0.25
    expected = start + t * np.array([3.0, -1.0, 2.0]) - [0, 0, 0.5 * GRAVITY_MS2 * t * t]
    assert np.allclose(rack.q[12:15], expected, atol=1e-9)
    size = np.linalg.norm(moment)
    turn = size / pin.pin_mass_properties()[2] * t
    from scipy.spatial.transform import Rotation

    assert np.allclose(rack.q[18:21], Rotation.from_rotvec(turn * moment / size).apply(axis),
                       atol=1e-9)
    assert rack.energy() == pytest.approx(energy, rel=1e-9)


def lean(degrees: float) -> Rack:
    """A pin on the edge of its base, at rest."""
    rack = Rack(E_DECK=0.3, MU_PIN_DECK=0.6)
    cg = pin.pin_mass_properties()[1]
    a = math.radians(degrees)
    # the edge at the origin, the centre of gravity to the side where it leans
    x = -pin.BASE_RADIUS_M * math.cos(a) + cg * math.sin(a)
    z = pin.BASE_RADIUS_M * math.sin(a) + cg * math.cos(a)
    rack.pin(1, (x, 0.0, z), (math.sin(a), 0.0, math.cos(a)))
    return rack


def run(rack: Rack, seconds: float) -> None:
    t = 0.0
    while t < seconds:
        n = rack.gather()
        blow.solve(rack.q, rack.body, rack.par, rack.pairs, n)
        dt = roll.until_next(rack.q, rack.body, rack.pairs, n, roll.STEP_S)
        roll.part(rack.q, rack.body, rack.pairs, n)
        roll.fly(rack.q, rack.body, rack.status, dt)
        t += dt


def test_a_pin_tips_between_the_published_angles():
    # 9.7 to 10.2 deg (D, from base and centre of gravity); ours: atan(1.0155/5.80) = 9.93
    back, over = lean(9.7), lean(10.2)
    run(back, 1.5)
    run(over, 1.5)
    assert back.q[20] > 0.99  # stands again
    assert over.q[20] < 0.2  # lies


def test_a_standing_pin_stays():
    rack = Rack(E_DECK=0.3, MU_PIN_DECK=0.3)
    rack.pin(1, (0, 0, pin.pin_mass_properties()[1]))
    run(rack, 1.0)
    assert np.allclose(rack.q[12:15], (0, 0, pin.pin_mass_properties()[1]), atol=1e-4)
    assert rack.q[20] > 0.99999


def test_a_sliding_ball_rolls_after_five_sevenths_like_a_sphere_of_its_inertia():
    # v/v0 = 1/(1 + k^2/R^2) once it rolls (textbook; M), whatever the friction
    rack = Rack(MU_BALL_DECK=0.2)
    rack.ball((-8.0, 0.0, RADIUS), (4.0, 0.0, 0.0))
    run(rack, 1.5)
    ratio = BALL_I / (BALL_KG * RADIUS**2)
    assert rack.velocity(0)[0] == pytest.approx(4.0 / (1.0 + ratio), rel=3e-3)


def test_energy_never_grows_through_a_whole_rack():
    from lanesim.pins.model import Hit, PinPhysics, rows

    for seed in range(4):
        r = rows(Hit(17.5, 6.0, 16.5), PinPhysics(), seed=seed)
        q, body, status, par, pairs = r
        status[1:] = np.where(status[1:] == layout.ASLEEP, layout.MOVES, status[1:])
        t = 0.0
        last = sum(roll.energy_of(q, body, b) for b in range(layout.BODIES))
        start = last
        while t < 0.5:
            n = touch.gather(q, body, status, par, pairs)
            blow.solve(q, body, par, pairs, n)
            dt = roll.until_next(q, body, pairs, n, roll.STEP_S)
            roll.part(q, body, pairs, n)
            roll.fly(q, body, status, dt)
            t += dt
            now = sum(roll.energy_of(q, body, b) for b in range(layout.BODIES))
            # parting overlaps lifts a body by up to half of them: 0.1 J of 250 at most
            assert now < last + 0.1
            last = now
        assert last < 0.8 * start
