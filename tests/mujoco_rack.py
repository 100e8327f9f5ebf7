"""A second pin deck, in MuJoCo, to compare the package's own with (tests only).

An independent code for bodies, contact and stepping; the pin is an ellipsoid (belly), two capsules
(neck, head) and a disc (base), up to 0.37 in too slim at the neck; contact is MuJoCo's soft spring
and dashpot over `contact_ms`.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from lanesim.errors import check_range
from lanesim.lane import geometry as lane
from lanesim.pins.model import Hit, PinFall, first_contact, pin_mass_properties
from lanesim.units import DEG_RAD, GRAVITY_MS2, INCH_M, LB_KG, MPH_MS, RPM_RADS

PIN_MASS_LB = 3.5  # middle of 3 lb 6 oz .. 3 lb 10 oz (read)
TAIL_M = lane.PIT_M - lane.HEAD_PIN_M  # head-pin spot to the edge of the pit
KICKBACK_M = (18.0 + 12.1) * INCH_M  # lane and gutters are 60 to 60.25 in wide (read)
GUTTER_DROP_IN = 3.5  # flat gutter beside the pins, below the deck (assumption)
CUSHION_M = TAIL_M + 0.75  # the curtain at the back of the pit (assumption)
CUSHION_CONTACT_MS = 10.0  # a hanging curtain is soft (assumption)
STANDING_TILT_DEG = 30.0  # a pin leaning more than this at the end is down (tip angle about 10)
SETTLE_S = 3.0  # the pins get this long before the count (assumption)
PIN_OFFSET_SD_IN = 1.0 / 16.0  # spotting tolerance of the machine (assumption)
FRICTION_JITTER = 0.10  # relative SD of every friction coefficient, run to run (assumption)

# Parts of the pin, inches above the deck. The belly is a least-squares fit of an ellipsoid to the
# profile between 2 and 7.6 in with its radius held at the widest point of the profile.
BELLY_CENTRE_IN, BELLY_RADIUS_IN, BELLY_HALF_IN = 4.65, 2.383, 4.15
NECK_RADIUS_IN, NECK_FROM_IN, NECK_TO_IN = 0.93, 8.2, 12.0
HEAD_RADIUS_IN, HEAD_FROM_IN, HEAD_TO_IN = 1.262, 13.20, 13.738
BASE_RADIUS_IN, BASE_HEIGHT_IN = 2.031 / 2.0, 0.5


@dataclass(frozen=True)
class PinPhysics:
    """Contact parameters; the tests set them to those of the package's own deck."""

    ball_pin_restitution: float = 0.6937
    pin_pin_restitution: float = 0.5472
    deck_restitution: float = 0.476
    kickback_restitution: float = 0.6079
    ball_pin_friction: float = 0.0315
    pin_pin_friction: float = 0.1454
    pin_deck_friction: float = 0.4581
    ball_deck_friction: float = 0.163
    kickback_friction: float = 0.3265
    contact_ms: float = 1.674
    step_ms: float = 0.4185

    def __post_init__(self) -> None:
        for name in ("ball_pin", "pin_pin", "deck", "kickback"):
            check_range(f"{name}_restitution", getattr(self, f"{name}_restitution"), 0.05, 0.95)
        for name in ("ball_pin", "pin_pin", "pin_deck", "ball_deck", "kickback"):
            check_range(f"{name}_friction", getattr(self, f"{name}_friction"), 0.0, 1.0)
        check_range("contact_ms", self.contact_ms, 0.2, 5.0)
        check_range("step_ms", self.step_ms, 0.02, self.contact_ms / 3.0)


def damping_ratio(restitution: float) -> float:
    """Damping ratio of a non-pulling spring and dashpot with this restitution.

    e = exp(-phi zeta/sqrt(1 - zeta^2)), phi = pi - atan2(2 zeta sqrt(1 - zeta^2), 1 - 2 zeta^2)
    the phase at which the force falls to zero; solved for zeta by bisection.
    """
    low, high = 1e-6, 0.999
    for _ in range(60):
        zeta = 0.5 * (low + high)
        root = math.sqrt(1.0 - zeta * zeta)
        phase = math.pi - math.atan2(2.0 * zeta * root, 1.0 - 2.0 * zeta * zeta)
        if math.exp(-zeta / root * phase) > restitution:
            low = zeta
        else:
            high = zeta
    return 0.5 * (low + high)


_PARTS = ("belly", "neck", "head")
_FLOOR_PARTS = ("base", "belly", "head")
# how far each of those parts reaches from its own middle [m], with 20 mm to spare
_FLOOR_REACH_M = np.array([1.05, BELLY_HALF_IN, HEAD_RADIUS_IN + 0.3]) * INCH_M + 0.020


def _solref(restitution: float, contact_ms: float) -> str:
    """MuJoCo's direct contact reference (-stiffness, -damping), per unit mass."""
    zeta = damping_ratio(restitution)
    omega = math.pi / (contact_ms * 1e-3)  # half a period is close to the time in contact
    return f"{-omega * omega:.6g} {-2.0 * zeta * omega:.6g}"


def _xml(physics: PinPhysics, hit: Hit) -> str:
    mass, cg, trans, axial = pin_mass_properties()
    i = INCH_M

    def capsule(name: str, radius: float, low: float, high: float) -> str:
        return (f'<geom name="{name}" type="capsule" size="{radius * i:.6f}" '
                f'fromto="0 0 {low * i - cg:.6f} 0 0 {high * i - cg:.6f}"/>')

    pins = []
    for p, (dx, dy) in lane.PIN_SPOTS_IN.items():
        pins.append(
            f'<body name="pin{p}" pos="{dx * i:.6f} {dy * i:.6f} {cg:.6f}" gravcomp="1">'
            f'<freejoint/><inertial pos="0 0 0" mass="{mass:.6f}" '
            f'diaginertia="{trans:.8f} {trans:.8f} {axial:.8f}"/>'
            f'<geom name="base{p}" type="cylinder" pos="0 0 {BASE_HEIGHT_IN / 2 * i - cg:.6f}" '
            f'size="{BASE_RADIUS_IN * i:.6f} {BASE_HEIGHT_IN / 2 * i:.6f}"/>'
            f'<geom name="belly{p}" type="ellipsoid" pos="0 0 {BELLY_CENTRE_IN * i - cg:.6f}" '
            f'size="{BELLY_RADIUS_IN * i:.6f} {BELLY_RADIUS_IN * i:.6f} {BELLY_HALF_IN * i:.6f}"/>'
            + capsule(f"neck{p}", NECK_RADIUS_IN, NECK_FROM_IN, NECK_TO_IN)
            + capsule(f"head{p}", HEAD_RADIUS_IN, HEAD_FROM_IN, HEAD_TO_IN)
            + "</body>"
        )
    half = lane.LANE_WIDTH_M / 2
    front = -1.5
    drop = GUTTER_DROP_IN * i
    gutter_mid, gutter_half = (half + KICKBACK_M) / 2, (KICKBACK_M - half) / 2
    deck_mid, deck_half = (front + TAIL_M) / 2, (TAIL_M - front) / 2

    def box(name: str, x: float, y: float, z: float, hx: float, hy: float, hz: float) -> str:
        return (f'<geom name="{name}" type="box" pos="{x:.6f} {y:.6f} {z:.6f}" '
                f'size="{hx:.6f} {hy:.6f} {hz:.6f}"/>')

    def wall(name: str, x: float, y: float, normal: str) -> str:
        return (f'<geom name="{name}" type="plane" pos="{x:.6f} {y:.6f} 0" size="3 3 1" '
                f'zaxis="{normal}"/>')

    fixed = [
        box("deck", deck_mid, 0, -0.1, deck_half, half, 0.1),
        box("gutter_r", deck_mid, -gutter_mid, -drop - 0.1, deck_half, gutter_half, 0.1),
        box("gutter_l", deck_mid, gutter_mid, -drop - 0.1, deck_half, gutter_half, 0.1),
        wall("kick_r", 0, -KICKBACK_M, "0 1 0"),
        wall("kick_l", 0, KICKBACK_M, "0 -1 0"),
        wall("cushion", CUSHION_M, 0, "-1 0 0"),
    ]
    t = physics.contact_ms
    friction_ref = f"{-1e-6:.6g} {-1.0 / (2 * physics.step_ms * 1e-3):.6g}"
    rows = []

    def pair(one: str, two: str, mu: float, e: float, contact_ms: float = t) -> None:
        rows.append(
            f'<pair geom1="{one}" geom2="{two}" condim="3" friction="{mu:.5f} {mu:.5f}" '
            f'solref="{_solref(e, contact_ms)}" solreffriction="{friction_ref}"/>'
        )

    p = physics
    for n in range(1, 11):
        for part in _PARTS:
            pair("ball", f"{part}{n}", p.ball_pin_friction, p.ball_pin_restitution)
            for floor in ("deck", "gutter_r", "gutter_l"):
                if part != "neck":
                    pair(f"{part}{n}", floor, p.pin_deck_friction, p.deck_restitution)
            for wall in ("kick_r", "kick_l"):
                if part != "neck":
                    pair(f"{part}{n}", wall, p.kickback_friction, p.kickback_restitution)
            if part != "neck":
                pair(f"{part}{n}", "cushion", p.kickback_friction, 0.2, CUSHION_CONTACT_MS)
            for m in range(n + 1, 11):
                for other in _PARTS:
                    if part == other == "neck":
                        continue
                    pair(f"{part}{n}", f"{other}{m}", p.pin_pin_friction, p.pin_pin_restitution)
        for floor in ("deck", "gutter_r", "gutter_l"):
            pair(f"base{n}", floor, p.pin_deck_friction, p.deck_restitution)
        for wall in ("kick_r", "kick_l"):
            pair(f"base{n}", wall, p.kickback_friction, p.kickback_restitution)
    for floor in ("deck", "gutter_r", "gutter_l"):
        pair("ball", floor, p.ball_deck_friction, 0.3)
    for wall in ("kick_r", "kick_l"):
        pair("ball", wall, p.kickback_friction, 0.3)
    pair("ball", "cushion", p.kickback_friction, 0.2, CUSHION_CONTACT_MS)

    ball_mass = hit.ball_lb * LB_KG
    inertia = ball_mass * (hit.rg_in * INCH_M) ** 2
    return f"""
<mujoco>
  <option timestep="{p.step_ms * 1e-3:.7f}" gravity="0 0 {-GRAVITY_MS2}" cone="elliptic"
          solver="Newton" iterations="30" tolerance="1e-8"/>
  <default>
    <geom contype="0" conaffinity="0"/>
    <pair solimp="0.97 0.97 0.001 0.5 2"/>
  </default>
  <worldbody>
    {"".join(fixed)}
    <body name="ball" pos="-1 0 {hit.radius_m:.6f}" gravcomp="1">
      <freejoint/>
      <inertial pos="0 0 0" mass="{ball_mass:.6f}"
                diaginertia="{inertia:.8f} {inertia:.8f} {inertia:.8f}"/>
      <geom name="ball" type="sphere" size="{hit.radius_m:.6f}"/>
    </body>
    {"".join(pins)}
  </worldbody>
  <contact>
    {"".join(rows)}
  </contact>
</mujoco>"""


@functools.lru_cache(maxsize=4)
def _compiled(physics: PinPhysics, ball_lb: float, rg_in: float, radius_m: float) -> Any:
    import mujoco

    hit = Hit(17.5, 6.0, 16.0, ball_lb=ball_lb, rg_in=rg_in, radius_m=radius_m)
    model = mujoco.MjModel.from_xml_string(_xml(physics, hit))
    data = mujoco.MjData(model)
    base_friction = model.pair_friction.copy()
    ball_geom = model.geom("ball").id
    geom_pin = np.zeros(model.ngeom, dtype=int)
    for g in range(model.ngeom):
        name = model.body(model.geom_bodyid[g]).name
        if name.startswith("pin"):
            geom_pin[g] = int(name[3:])
    ids = {}
    for k in range(model.npair):
        one, two = (model.geom(int(g)).name for g in (model.pair_geom1[k], model.pair_geom2[k]))
        ids[one, two] = ids[two, one] = k
    floor_geom = np.array(
        [[model.geom(f"{part}{n}").id for part in _FLOOR_PARTS] for n in range(1, 11)]
    )
    floor_pair = np.array([
        [[ids[f"{part}{n}", floor] for part in _FLOOR_PARTS] for n in range(1, 11)]
        for floor in ("deck", "gutter_r", "gutter_l")
    ])
    # a margin of minus both bounding radii makes MuJoCo's first filter reject the pair at once
    reach = model.geom_rbound[model.pair_geom1] + model.geom_rbound[model.pair_geom2]
    floor_off = -reach[floor_pair]
    return (mujoco, model, data, base_friction, ball_geom, geom_pin, floor_geom, floor_pair,
            floor_off)


def simulate(
    hit: Hit,
    physics: PinPhysics | None = None,
    *,
    standing: int = 0b1111111111,
    seed: int | np.random.SeedSequence | None = None,
    record: bool = False,
) -> PinFall:
    """Roll one ball into the standing pins and count what is left.

    Parameters
    ----------
    hit : the ball at first contact with a pin of the FULL rack (spares use `roll_at`).
    standing : 10-bit mask of the pins set up.
    seed : draws pin offsets (SD `PIN_OFFSET_SD_IN` each way) and friction jitter (relative SD
        `FRICTION_JITTER`, one factor for each kind of contact); None = exact spots, no jitter.
    record : keep the motion, every 5 ms.
    """
    x, y, _ = first_contact(hit)
    return roll_at(hit, x, y, physics, standing=standing, seed=seed, record=record)


def roll_at(
    hit: Hit,
    x_m: float,
    y_m: float,
    physics: PinPhysics | None = None,
    *,
    standing: int = 0b1111111111,
    seed: int | np.random.SeedSequence | None = None,
    record: bool = False,
) -> PinFall:
    """As `simulate`, with the ball's centre starting 20 mm short of (x_m, y_m)."""
    physics = physics or PinPhysics()
    (mujoco, model, data, base_friction, ball_geom, geom_pin, floor_geom, floor_pair,
     floor_off) = _compiled(physics, hit.ball_lb, hit.rg_in, hit.radius_m)
    mujoco.mj_resetData(model, data)
    model.pair_friction[:] = base_friction
    offsets = np.zeros((10, 2))
    if seed is not None:
        rng = np.random.default_rng(seed)
        offsets = rng.normal(0.0, PIN_OFFSET_SD_IN * INCH_M, (10, 2))
        kinds, which = np.unique(base_friction[:, 0], return_inverse=True)
        factors = np.maximum(1.0 + FRICTION_JITTER * rng.standard_normal(len(kinds)), 0.3)
        model.pair_friction[:, :2] = base_friction[:, :2] * factors[which][:, None]

    a = hit.angle_deg * DEG_RAD
    speed = hit.speed_mph * MPH_MS
    velocity = speed * np.array([math.cos(a), math.sin(a)])
    forward, right = np.array([math.cos(a), math.sin(a)]), np.array([math.sin(a), -math.cos(a)])
    slip = hit.slip_forward_ms * forward + hit.slip_side_ms * right
    # slip = (vx - R wy, vy + R wx)
    spin = np.array([
        (slip[1] - velocity[1]) / hit.radius_m, (velocity[0] - slip[0]) / hit.radius_m,
        hit.spin_up_rpm * RPM_RADS,
    ])
    qpos = data.qpos.reshape(11, 7)
    qvel = data.qvel.reshape(11, 6)
    qpos[0, :3] = x_m - 0.02 * math.cos(a), y_m - 0.02 * math.sin(a), hit.radius_m
    qvel[0, :2] = velocity
    qvel[0, 3:] = spin  # free joints take the spin in the body frame, here equal to the lane's
    qpos[1:, :2] += offsets
    there = np.array([(standing >> p) & 1 == 1 for p in range(10)])
    parked = ~there
    qpos[1:, 0][parked] = -50.0 - 2.0 * np.arange(10)[parked]
    # A pin that nothing has touched yet costs four contacts a step for standing still. It hovers
    # weightless 20 um above the deck instead and gets its weight the moment anything moves it.
    dormant = there.copy()
    asleep = bool(dormant.any())
    qpos[1:, 2][there] += 20e-6
    model.body_gravcomp[1] = 0.0
    model.body_gravcomp[2:] = 1.0

    glance = max(1, round(0.75e-3 * physics.contact_ms / model.opt.timestep))
    look_s = 0.005  # bookkeeping interval
    next_look = look_s
    cull_s, next_cull = 0.001, 0.0
    close, was_close = np.empty(floor_pair.shape, dtype=bool), b""
    half = lane.LANE_WIDTH_M / 2
    edge = half - _FLOOR_REACH_M
    long = max(1, round(0.5 * look_s / model.opt.timestep))
    ball_gone = False
    exit_board = math.nan
    touched: list[int] = []
    frames: list[tuple[float, np.ndarray]] = []
    steps = 0
    quiet = 0
    before = qpos[0, :2].copy()
    while data.time < SETTLE_S:
        # short steps until the ball has left, so that no touch (contact_ms) goes unseen
        chunk = long if ball_gone and not asleep else glance
        mujoco.mj_step(model, data, chunk)
        steps += chunk
        if not ball_gone and data.ncon:
            pairs = data.contact.geom
            for one, two in pairs[(pairs == ball_geom).any(axis=1)]:
                pin = geom_pin[one] or geom_pin[two]
                if pin and pin not in touched:
                    touched.append(int(pin))
        if asleep:
            woken = dormant & (np.abs(qvel[1:, :3]) > 1e-4).any(axis=1)
            if woken.any():
                dormant &= ~woken
                asleep = bool(dormant.any())
                model.body_gravcomp[2:][woken] = 0.0
        # Floors are boxes, whose bounding spheres cover the whole rack: hand the exact collider
        # only the parts that are near one (cuts the time to about a third; what moves
        # slower than 8 m/s cannot reach a floor unseen between two looks).
        if data.time >= next_cull:
            next_cull = data.time + cull_s
            place = data.geom_xpos.take(floor_geom, axis=0)
            across = place[..., 1]
            np.less(np.abs(across), half + _FLOOR_REACH_M, out=close[0])  # over the deck
            np.less(across, -edge, out=close[1])  # right gutter
            np.greater(across, edge, out=close[2])
            close &= (place[..., 2] < _FLOOR_REACH_M) & ~(dormant | parked)[:, None]
            now_close = close.tobytes()
            if now_close != was_close:
                was_close = now_close
                model.pair_margin[floor_pair] = np.where(close, 0.0, floor_off)
        if data.time < next_look:
            continue
        next_look = data.time + look_s
        if record:
            frames.append((data.time, data.xpos.copy(), data.xmat[:, [2, 5, 8]].copy()))
        if not ball_gone and qpos[0, 0] >= TAIL_M and math.isnan(exit_board):
            share = (TAIL_M - before[0]) / max(qpos[0, 0] - before[0], 1e-12)
            exit_y = before[1] + share * (qpos[0, 1] - before[1])
            exit_board = lane.y_to_board(exit_y + lane.HEAD_PIN_Y_M)
        before = qpos[0, :2].copy()
        # whatever is in the pit is out of play: park it, weightless, far away
        sunk = (qpos[:, 2] < -0.25) & (qpos[:, 0] > TAIL_M)
        if not ball_gone and sunk[0]:
            ball_gone = True
            _park(model, qpos, qvel, 0)
        for p in np.flatnonzero(sunk[1:] & ~parked):
            parked[p] = True
            _park(model, qpos, qvel, int(p) + 1)
        up = data.xmat[2:, 8]
        on_deck = ~parked & (qpos[1:, 2] > 0.08)
        upright = on_deck & (up > math.cos(STANDING_TILT_DEG * DEG_RAD))
        speed_now = np.linalg.norm(qvel[1:, :3], axis=1)
        # rocking, not spinning about its own axis (which contact of a point does not brake)
        wobble = speed_now + 0.1 * np.linalg.norm(qvel[1:, 3:5], axis=1)
        # tipping a pin over takes m g (sqrt(cg^2 + r_base^2) - cg), the energy of 0.21 m/s
        moving = np.where(upright, wobble > 0.06, speed_now > 0.2)
        # nothing stands up again once it lies far below its own balance point
        if not upright.any() and data.time > 0.3 and (up[on_deck] < 0.6).all():
            break
        # a fallen pin in a gutter may slide on for seconds; it lies too low to touch a standing one
        sunken = (qpos[1:, 2] < 0.02) & (np.abs(qpos[1:, 1]) > half) & (np.abs(qvel[1:, 2]) < 0.2)
        still = not moving[~parked & ~sunken].any() and (ball_gone or abs(qvel[0, 0]) < 0.05)
        quiet = quiet + 1 if still else 0
        if quiet >= 6:
            break

    if sum(data.warning[int(w)].number for w in _bad_warnings(mujoco)):
        raise FloatingPointError(f"the pin simulation became unstable: {hit}, {physics}, {seed}")
    up = data.xmat[2:, 8]
    stand = ~parked & (qpos[1:, 2] > 0.08) & (up > math.cos(STANDING_TILT_DEG * DEG_RAD))
    mask = int(sum(1 << p for p in range(10) if stand[p]))
    extra: dict[str, Any] = {}
    if record:
        extra = {
            "time_s": np.array([f[0] for f in frames]),
            "ball_xyz_m": np.array([f[1][1] for f in frames]),
            "pin_xyz_m": np.array([f[1][2:] for f in frames]),
            "pin_up": np.array([f[2][2:] for f in frames]),
        }
    return PinFall(mask, tuple(touched), exit_board, float(data.time), steps, **extra)


def _bad_warnings(mujoco: Any) -> tuple[Any, ...]:
    w = mujoco.mjtWarning
    return w.mjWARN_BADQPOS, w.mjWARN_BADQVEL, w.mjWARN_BADQACC


def _park(model: Any, qpos: np.ndarray, qvel: np.ndarray, body: int) -> None:
    qpos[body, :3] = -50.0 - 2.0 * body, 0.0, 5.0
    qvel[body] = 0.0
    model.body_gravcomp[body + 1] = 1.0
