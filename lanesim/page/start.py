"""What the browser needs to begin with: names, limits, the lane's geometry, colours, files."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from .folder import Entry

if TYPE_CHECKING:
    from .desk import Desk

KEPT_SHOTS = 8  # shots side by side: more colours and markers are not told apart


def everything(desk: Desk) -> dict[str, Any]:
    """All of it in one answer."""
    from .. import __version__
    from ..studies.standing import ARROW_BOARDS
    from .desk import FIRST_SHOT

    return {
        "version": __version__, "folder": desk.folder.root.name, **desk.standing(),
        "shot": FIRST_SHOT, "level": "200", "balls": balls(), "patterns": patterns(),
        "levels": levels(), "lane": lane(), "limits": limits(), "series": series(),
        "scale": scales(), "map_arrows": ARROW_BOARDS, "files": files(desk),
    }


def balls() -> list[dict[str, Any]]:
    """The shipped balls."""
    from ..catalog import shipped_balls

    return [ball_view(name, ball) for name, ball in shipped_balls().items()]


def ball_view(spec: str, ball: Any) -> dict[str, Any]:
    """What a list shows of a ball."""
    from ..equipment.layout import layout_text

    return {"spec": spec, "name": ball.name, "title": ball.title, "finish": ball.cover.finish,
            "layout": layout_text(ball.layout), "cover": ball.cover.kind,
            "weight_lb": ball.weight_lb, "rg_in": ball.rg_in, "diff_in": ball.diff_in,
            "int_diff_in": ball.int_diff_in}


def patterns() -> list[dict[str, Any]]:
    """The shipped patterns."""
    from ..lane.oil_file import load_pattern, pattern_files

    found = [load_pattern(path) for path in pattern_files().values()]
    return [{"spec": p.name, "title": p.title, "length_ft": p.length_ft, "total_ml": p.total_ml}
            for p in sorted(found, key=lambda p: (p.length_ft, p.name))]


def levels() -> list[str]:
    """Names of the assumed spreads."""
    from ..player import LEVELS

    return list(LEVELS)


def lane() -> dict[str, Any]:
    """Arrows, pins and lengths, in boards from the RIGHT edge and feet from the foul line."""
    from ..lane import geometry as g
    from ..motion.pocket import EDGES
    from ..units import FOOT_M

    return {
        "boards": g.BOARDS, "feet": g.PIT_M / FOOT_M, "head_pin_ft": g.HEAD_PIN_FT,
        "arrows": [(board, g.arrow_distance_ft(board)) for board in g.ARROW_BOARDS],
        "pins": [(pin, x / FOOT_M, g.y_to_board(y)) for pin, x, y in g.pin_positions_m()],
        "pocket": EDGES[:2], "ball_boards": g.BALL_RADIUS_M / g.BOARD_M,
        "pin_boards": g.pin_radius_m(4.5) / g.BOARD_M,
        # a straight line between: how far out the arrow on a board lies
        "arrow_ft": [g.arrow_distance_ft(board) for board in range(1, g.BOARDS + 1)],
    }


def limits() -> dict[str, tuple[float, float, float]]:
    """Lowest, highest and step of what a slider sets; the model itself accepts a little more."""
    return {"speed_mph": (10, 24, 0.1), "rev_rpm": (0, 600, 5), "rotation_deg": (0, 90, 1),
            "tilt_deg": (0, 45, 1), "laydown_board": (3, 37, 0.5), "target_board": (2, 34, 0.1)}


def series() -> list[dict[str, Any]]:
    """Colour, dash and marker of kept shots, the same as in the figures."""
    from ..figures.style import series_marker, series_style

    found = []
    for n in range(KEPT_SHOTS + 1):  # and the one on the lane
        style = series_style(n)
        dash = style["linestyle"]
        found.append({"color": style["color"], "marker": series_marker(n),
                      "dash": [] if isinstance(dash, str) else list(dash[1])})
    return found


def scales() -> dict[str, list[str]]:
    """Colours of the scales for oil and for rates, 64 steps from nothing up."""
    from matplotlib.colors import to_hex

    from ..figures.style import heat_colormap, oil_colormap

    return {name: [to_hex(scale(n / 63)) for n in range(64)]
            for name, scale in (("oil", oil_colormap()), ("heat", heat_colormap()))}


def files(desk: Desk) -> list[Entry]:
    """The folder's files."""
    return desk.folder.files()
