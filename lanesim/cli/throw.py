"""`lanesim throw`: one ball, one release, one pattern."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import click

from . import common as c

if TYPE_CHECKING:
    from collections.abc import Callable

    from ..equipment.ball import Ball
    from ..equipment.layout import Layout
    from ..fit.fitted import Basis
    from ..lane.pattern import OilPattern
    from ..player import Release


@click.command()
@c.ball_option
@c.layout_options
@c.finish_option
@c.pattern_option
@c.release_options
@c.fitted_option
@click.option("--loft", type=float, default=0.0, metavar="FT",
              help="How far beyond the foul line the ball touches down, 0 to 20 ft.")
@c.picture_option("Draw the path over the oil into FILE (.png, .svg or .pdf).")
@c.out_option("Draw speed, slip, friction, rotation, tilt and film along the lane into FILE.",
              "--curves", "curves")
@c.out_option("Draw the track-flare rings on the ball into FILE.", "--flare", "flare")
@c.csv_option("Write the path and all curves to FILE (.csv), a row every 0.01 s.")
@c.json_option
def command(
    ball: Ball, layout: Callable[[Layout], Layout], finish: tuple[float, bool] | None,
    pattern: OilPattern, release: Release, basis: Basis, loft: float, out, curves, flare, csv,
    as_json: bool,
) -> None:
    """Follow one ball down the lane: skid, hook, roll, and how it meets the pins.

    Boards count from the ball-arm side; a positive angle goes away from it. The default release
    has the mean speed and rev rate of professional men.

    \b
    lanesim throw
    lanesim throw --ball plastic-spare --pattern long-45 --out path.png
    lanesim throw --speed 17 --revs 300 --laydown 20 --target 12 --json
    """
    ball = replace(ball, layout=layout(ball.layout))
    if finish is not None:
        ball = ball.with_finish(*finish)
    release = replace(release, loft_ft=loft)
    c.announce_compile()
    from ..motion.trajectory import throw

    shot = throw(ball, release, pattern, friction=basis.friction)
    words = basis.provenance([ball], [pattern])
    files = _write(shot, ball, pattern, release, out, curves, flare, csv)
    if as_json:
        c.print_json(shot.to_dict() | {"provenance": words})
    else:
        click.echo(f"{ball.name} on {pattern.name}")
        c.print_facts(
            [("ball", c.ball_words(ball)), ("pattern", c.pattern_words(pattern)),
             ("release", c.release_words(release)), *_lane_facts(basis, release),
             ("model", words)]
        )
        click.echo()
        c.print_facts(shot.facts())
    for path in files:
        c.say_written(path)


def _lane_facts(basis: Basis, release: Release) -> list[tuple[str, str]]:
    """The lane, if it is not the level one that is assumed otherwise."""
    lane = basis.lane.seen_from(release.hand)  # mirrored twice: as it lies
    return [] if lane.words == type(lane)().words else [("lane", lane.words)]


def _write(shot, ball, pattern, release, out, curves, flare, csv) -> list:
    """Draw first, then write: a drawing that fails leaves no file behind."""
    from ..files import write_text
    from ..studies.findings import of_throw

    heading = f"{ball.name} on {pattern.name}"
    drawn = []
    if out is not None:
        from ..figures.lane_view import draw_paths

        drawn.append((out, draw_paths([shot], pattern, [ball.name],
                                      title=of_throw(shot, ball.name, pattern.name),
                                      note=c.release_words(release))))
    if curves is not None:
        from ..figures.curves import draw_curves

        drawn.append((curves, draw_curves([shot], [ball.name], title=f"Along the lane: {heading}",
                                          note=c.release_words(release))))
    if flare is not None:
        from ..figures.flare import draw_flare

        drawn.append((flare, draw_flare(shot, mass_bias=ball.int_diff_in > 0,
                                        title=f"Track flare: {heading}",
                                        note=c.release_words(release))))
    files = c.save_pictures(drawn, [ball], [pattern])
    if csv is not None:
        files.append(write_text(csv, shot.to_csv()))
    return files
