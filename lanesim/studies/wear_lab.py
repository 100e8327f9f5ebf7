"""One ball in several states of wear, thrown by one player: what each state does.

A state is judged on the NEW ball's best line (nobody adjusts) and on its own best line. Every rate
and its band over sampled wear parameters stand on the same shots.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from ..equipment.ball import Ball
from ..equipment.cover import Cover, CoverKind
from ..lane.friction import FrictionModel
from ..lane.pattern import OilPattern
from ..lines.judge import LineResult, judge_line
from ..lines.lineup import find_lines
from ..motion.pocket import POCKET
from ..motion.trajectory import ShotTable, throw_many
from ..player import Player, normal_deviates
from ..stats import Rate
from .odds import strikes_of, with_pins

if TYPE_CHECKING:
    from ..pins.outcomes import PinResult

MEASURE_FT = 59  # last whole foot before any pin: there the paths are compared
BAND = (5.0, 95.0)  # percentiles of a band
_REAIM_DEG = np.linspace(-1.5, 1.5, 13)


@dataclass(frozen=True)
class Band:
    """A value with the stated parameters, and the middle 90 % over sampled ones.

    NaN in `value`, `low` or `high`: not reached within the games looked at.
    """

    value: float
    low: float
    high: float

    def text(self, digits: int = 1) -> str:
        """Like '2.3 (1.5-3.6)'."""
        def one(v: float) -> str:
            return "-" if v != v else f"{v:.{digits}f}"

        return f"{one(self.value)} ({one(self.low)} to {one(self.high)})"


@dataclass(frozen=True)
class Standing:
    """One state of a ball.

    Attributes
    ----------
    state : one of STATES. cover : the cover in that state.
    boards_lost : against the new ball on the new ball's line [boards], see the module's docstring.
    angle_lost_deg : entry angle [deg] lost against the new ball, each on its own best line, mean
        over the shots that met a pin; negative: steeper than the new one.
    pocket_new_line, pocket_own_line : pocket rates with Wilson intervals (sampling), and bands
        (wear parameters; on the own line each set's shots are re-aimed by the launch angle).
    pins_new_line, pins_own_line : strikes, leaves and pins per game of the same shots, and the
        strike rate's bands as the pocket's; None: the pins were left out.
    entry_board, entry_angle_deg : mean on the own best line.
    laydown_board, arrow_board : the own best line.
    """

    state: str
    cover: Cover
    boards_lost: Band
    angle_lost_deg: Band
    pocket_new_line: Rate
    pocket_new_line_band: Band
    pocket_own_line: Rate
    pocket_own_line_band: Band
    entry_board: float
    entry_angle_deg: float
    laydown_board: float
    arrow_board: float
    pins_new_line: PinResult | None = None
    strike_new_line_band: Band | None = None
    pins_own_line: PinResult | None = None
    strike_own_line_band: Band | None = None

    def to_dict(self) -> dict[str, Any]:
        """Plain values, the cover by what follows from it."""
        out = {f.name: getattr(self, f.name) for f in fields(self) if f.name != "cover"}
        for name in ("pins_new_line", "pins_own_line"):
            out[name] = out[name] and out[name].to_dict()
        return out | {"cover": cover_summary(self.cover)}


def cover_summary(cover: Cover) -> dict[str, Any]:
    """What a cover is and what follows from it."""
    return {
        "kind": cover.kind, "finish": cover.finish,
        "games_since_surface": cover.games_since_surface, "games_total": cover.games_total,
        "oil_extractions": cover.oil_extractions, "ra_um": cover.ra_um,
        "dry_friction": cover.dry_friction, "uptake": cover.uptake,
        "soaked_share": cover.soaked_share,
    }


class Lab:
    """One ball's states, thrown by one player on one pattern."""

    def __init__(
        self, ball: Ball, player: Player, pattern: OilPattern, friction: FrictionModel, seed: int,
        shots: int, pins: bool,
    ) -> None:
        self.ball, self.pattern, self.player = ball, pattern, player
        self.friction, self.seed, self.shots, self.pins = friction, seed, shots, pins
        self.new_line: np.ndarray = player.release.row()

    def with_cover(self, cover: Cover) -> Ball:
        """The ball in that state."""
        return replace(self.ball, cover=cover)

    def throw(
        self, covers: Sequence[Cover], rows: np.ndarray, which: np.ndarray, paths: bool
    ) -> ShotTable:
        """Releases (n, 7), each with the ball in cover `which` (n,)."""
        return throw_many([self.with_cover(c) for c in covers], rows, self.pattern, which=which,
                          hand=self.player.release.hand, friction=self.friction, keep_paths=paths)

    def arrival(self, covers: Sequence[Cover], rows: np.ndarray) -> np.ndarray:
        """Board at MEASURE_FT of one shot per cover; NaN for one that went into the gutter."""
        table = self.throw(covers, rows, np.arange(len(covers)), True)
        assert table.path_board is not None  # asked for
        return table.path_board[:, MEASURE_FT]

    def lost(
        self, worn: Sequence[Cover], fresh: Sequence[Cover], kinds: Sequence[CoverKind]
    ) -> np.ndarray:
        """Boards lost (sets + 1, n) by worn covers against fresh ones; row 0: stated parameters."""
        laws = [worn[0].law, *kinds]
        covers = [replace(c, law=law) for law in laws for c in (*worn, *fresh)]
        unique = list(dict.fromkeys(covers))
        place = {c: n for n, c in enumerate(unique)}
        boards = self.arrival(unique, np.tile(self.new_line, (len(unique), 1)))
        table = boards[[place[c] for c in covers]].reshape(len(laws), 2, len(worn))
        return table[:, 1] - table[:, 0]

    def lines(self, covers: Mapping[str, Cover]) -> dict[str, LineResult]:
        """Each state on its own best line."""
        player = self.player
        found = find_lines([self.with_cover(c) for c in covers.values()], player.release,
                           self.pattern, player.spread, shots=self.shots, seed=self.seed,
                           friction=self.friction)
        return dict(zip(covers, found, strict=True))

    def standings(
        self, covers: Mapping[str, Cover], kinds: Sequence[CoverKind]
    ) -> tuple[Standing, ...]:
        """All states, on the new ball's line and on their own."""
        lines = self.lines(covers)
        new = lines["new"]
        self.new_line = new.release.row()
        out = []
        new_angles = np.zeros(0)
        for state, cover in covers.items():
            own = lines[state]
            there = judge_line(self.with_cover(cover), new.release, self.pattern,
                               self.player.spread, shots=self.shots, seed=self.seed,
                               friction=self.friction)
            (here, on_own), strikes, angles = self.by_set(cover, own.release.row(), kinds)
            if state == "new":
                new_angles = angles
            lost = self.lost([cover], [covers["new"]], kinds)[:, 0]
            out.append(Standing(
                state=state, cover=cover, boards_lost=band(lost),
                angle_lost_deg=band(new_angles - angles),
                pocket_new_line=there.pocket, pocket_new_line_band=band(here),
                pocket_own_line=own.pocket, pocket_own_line_band=band(on_own),
                entry_board=own.entry_board_mean, entry_angle_deg=own.entry_angle_mean_deg,
                laydown_board=own.release.laydown_board, arrow_board=own.arrow_board,
                **(self.pin_fields(there, own, strikes) if self.pins else {}),
            ))
        return tuple(out)

    def pin_fields(
        self, there: LineResult, own: LineResult, strikes: Sequence[np.ndarray]
    ) -> dict[str, Any]:
        """Fields of a Standing about the pins: on the new ball's line and on the own."""
        on_new = with_pins(there).pins
        on_own = on_new if own.release == there.release else with_pins(own).pins
        return {
            "pins_new_line": on_new, "strike_new_line_band": band(strikes[0]),
            "pins_own_line": on_own, "strike_own_line_band": band(strikes[1]),
        }

    def by_set(
        self, cover: Cover, own: np.ndarray, kinds: Sequence[CoverKind]
    ) -> tuple[list[np.ndarray], list[np.ndarray], np.ndarray]:
        """Pocket rate on the new ball's line and on the own, strike rate on both (empty without
        pins), and entry angle on the own; all (sets + 1,).

        On its own line a player re-aims: each parameter set's launch angle is shifted so that its
        usual shot arrives where that of the stated parameters does.
        """
        worn = [cover, *(replace(cover, law=kind) for kind in kinds)]
        # the shots behind the rates themselves
        spread = np.zeros((self.shots, 7))
        spread[:, :6] = self.player.spread.deviations(normal_deviates(self.shots, 6, self.seed))
        fan = np.tile(own, (len(_REAIM_DEG), 1))
        fan[:, 1] += _REAIM_DEG
        which = np.repeat(np.arange(len(worn)), len(fan))
        table = self.throw(worn, np.tile(fan, (len(worn), 1)), which, True)
        assert table.path_board is not None  # asked for
        boards = table.path_board[:, MEASURE_FT].reshape(len(worn), len(fan))
        goal = boards[0, len(fan) // 2]
        lines = np.tile(own, (len(worn), 1))
        lines[:, 1] += [_angle_for(goal, _REAIM_DEG, b) for b in boards]
        rates, strikes, angles = [], [], np.zeros(0)
        for rows in (np.tile(self.new_line, (len(worn), 1)), lines):
            which = np.repeat(np.arange(len(worn)), len(spread))
            shots = np.repeat(rows, len(spread), axis=0) + np.tile(spread, (len(worn), 1))
            table = self.throw(worn, shots, which, False)
            hit = (table.outcome == POCKET).reshape(len(worn), len(spread))
            rates.append(hit.mean(axis=1))
            if self.pins:
                chance = strikes_of(table.entry_board, table.entry_angle_deg,
                                    table.entry_speed_mph, table.outcome)
                strikes.append(chance.reshape(hit.shape).mean(axis=1))
            met = np.isfinite(table.entry_angle_deg).reshape(hit.shape)
            total = np.nansum(table.entry_angle_deg.reshape(hit.shape), axis=1)
            angles = total / np.maximum(met.sum(axis=1), 1)
        return rates, strikes, angles


def _angle_for(goal: float, angles: np.ndarray, boards: np.ndarray) -> float:
    """Shift of the launch angle nearest to none at which `boards` crosses `goal`.

    NaN boards (gutter) are left out; without a crossing the angle that comes nearest.
    """
    good = np.isfinite(boards)
    a, b = angles[good], boards[good] - goal
    if len(a) == 0:
        return 0.0
    found = [
        a[n] - b[n] * (a[n + 1] - a[n]) / (b[n + 1] - b[n])
        for n in range(len(a) - 1) if b[n] * b[n + 1] <= 0.0 and b[n] != b[n + 1]
    ]
    return float(min(found, key=abs)) if found else float(a[np.argmin(np.abs(b))])


def band(values: np.ndarray) -> Band:
    """Value 0 of `values` with the percentiles of the others."""
    good = values[1:][np.isfinite(values[1:])]
    if len(good) == 0:
        return Band(float(values[0]), float("nan"), float("nan"))
    low, high = np.percentile(good, BAND)
    return Band(float(values[0]), float(low), float(high))


def bands(values: np.ndarray) -> np.ndarray:
    """(n, 3) value, low, high of a table (sets + 1, n)."""
    found = [band(column) for column in values.T]
    return np.array([(b.value, b.low, b.high) for b in found])
