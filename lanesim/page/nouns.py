"""From what was asked to the nouns of the studies: ball, pattern, release, player, fit.

A ball is a shipped name or FILE.toml:NAME, a pattern a shipped name or FILE.oil, both from the
page's folder. What was read stays in memory until its file changes.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Any, TypeVar

from ..errors import InputError, nearest_name
from .folder import Folder
from .wire import Shot, Spreading

if TYPE_CHECKING:
    from ..equipment.ball import Ball
    from ..fit.fitted import Basis
    from ..lane.pattern import OilPattern
    from ..player import Player, Release

T = TypeVar("T")


class Nouns:
    """Reads nouns from a folder. Safe to use from several threads."""

    def __init__(self, folder: Folder) -> None:
        self.folder = folder
        self._kept: dict[tuple[str, str], tuple[Any, Any]] = {}
        self._lock = threading.RLock()

    def _read(self, kind: str, name: str, read: Callable[[Any], T]) -> T:
        """A file's noun, read again only after the file has changed."""
        with self._lock:
            stamp = self.folder.stamp(name)
            kept = self._kept.get((kind, name))
            if kept is None or kept[0] != stamp:
                self.folder.text(name)  # size and encoding are checked there
                try:
                    kept = (stamp, read(self.folder.path(name)))
                except InputError as error:
                    raise InputError(self.folder.plain(str(error))) from None
                self._kept[kind, name] = kept
            return kept[1]

    def own_ball(self, spec: str) -> Ball:
        """The ball of that name as its file has it."""
        from ..catalog import read_balls, shipped_balls

        name, dot, inside = spec.partition(".toml")
        if not dot:
            if spec not in shipped_balls():
                raise nearest_name(spec[:90], shipped_balls(), "ball")
            return shipped_balls()[spec]

        def read(path: Any) -> dict[str, Ball]:
            import tomllib

            from .readers import check_references

            check_references(tomllib.loads(path.read_text(encoding="utf-8")), path.name)
            return read_balls(path)

        balls = self._read("balls", f"{name}.toml", read)
        inside = inside.removeprefix(":")
        if not inside and len(balls) == 1:
            return next(iter(balls.values()))
        if inside not in balls:
            raise nearest_name(inside[:90], balls, f"ball in {name}.toml")
        return balls[inside]

    def ball(self, shot: Shot) -> Ball:
        """The shot's ball, drilled and finished as asked."""
        ball = self.own_ball(shot.ball)
        if shot.layout:
            from ..equipment.layout import read_layout

            ball = replace(ball, layout=read_layout(shot.layout, ball.layout))
        if shot.finish:
            from ..equipment.cover import parse_finish

            ball = ball.with_finish(*parse_finish(shot.finish))
        return self.basis(shot.fitted).ball(ball)

    def own_pattern(self, spec: str) -> OilPattern:
        """The pattern of that name as its file has it."""
        from ..lane.oil_file import load_pattern, pattern_files

        if spec.endswith(".oil"):
            return self._read("pattern", spec, load_pattern)
        if spec not in pattern_files():
            raise nearest_name(spec[:90], pattern_files(), "pattern")
        with self._lock:
            if ("shipped", spec) not in self._kept:
                self._kept["shipped", spec] = (None, load_pattern(pattern_files()[spec]))
            return self._kept["shipped", spec][1]

    def pattern(self, shot: Shot) -> OilPattern:
        """The shot's pattern."""
        return self.basis(shot.fitted).pattern(self.own_pattern(shot.pattern))

    def basis(self, name: str) -> Basis:
        """The fit whose values replace the assumed ones; without a file, none."""
        from ..fit.fitted import Basis, load_fitted

        return Basis(self._read("fitted", name, load_fitted)) if name else Basis()

    def release(self, shot: Shot) -> Release:
        """The shot's release, sent over its target at the arrows."""
        from ..player import Release

        angle = Release.angle_toward(shot.laydown_board, shot.target_board)
        release = Release(
            speed_mph=shot.speed_mph, rev_rpm=shot.rev_rpm, rotation_deg=shot.rotation_deg,
            tilt_deg=shot.tilt_deg, laydown_board=shot.laydown_board, launch_angle_deg=angle,
            hand=shot.hand)
        return self.basis(shot.fitted).release(release)

    def player(self, asked: Spreading) -> Player:
        """Release and spread: of a level, or of a player file."""
        from ..catalog import named_spread
        from ..player import Player

        if asked.player:
            own = self.own_player(asked.player)
            return replace(own, release=self.release(asked))
        return Player("player", self.release(asked), named_spread(asked.level),
                      f"assumed level {asked.level}")

    def own_player(self, name: str) -> Player:
        """The player as his file has him."""
        from ..catalog import load_player

        return self._read("player", name, load_player)
