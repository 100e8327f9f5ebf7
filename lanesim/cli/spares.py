"""`lanesim spares`: which ball and line for each leave, and what a plastic ball is worth."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from . import common as c

if TYPE_CHECKING:
    from ..fit.fitted import Basis
    from ..lane.pattern import OilPattern
    from ..player import Player
    from ..studies.spares import SparesResult

BALLS = ("strong-solid", "plastic-spare")


@click.command()
@click.option("--ball", "balls", type=c.BallName(), multiple=True, default=BALLS,
              help=f"{c.BALL_HELP} Repeat for several. [default: {' and '.join(BALLS)}]")
@c.pattern_option
@c.player_options
@c.fitted_option
@click.option("--leave", "leaves", metavar="PINS", multiple=True,
              help="A leave, as in 3-10. Repeat for several. [default: the common ones]")
@click.option("--every-ball", is_flag=True, help="List every ball, not only the best.")
@click.option("--shots", type=click.IntRange(16, 100_000), default=192, show_default=True,
              help="Shots with each ball at each leave.")
@c.seed_option
@c.picture_option("Draw each ball's chance at each leave into FILE (.png, .svg or .pdf).")
@c.json_option
def command(
    balls: tuple, pattern: OilPattern, player: Player, basis: Basis, leaves: tuple,
    every_ball: bool, shots: int, seed: int, out, as_json: bool,
) -> None:
    """For each common leave: which ball, where to stand, what to aim at, how often it is made.

    Each ball is tried the player's usual way and straight (wrist behind the ball). Chances are for
    the player's own spread on this oil; intervals cover the shots thrown and the hits simulated,
    not what the models get wrong.

    \b
    lanesim spares --pattern long-45 --out spares.png
    lanesim spares --ball strong-solid --ball plastic-spare --leave 10 --leave 3-6-10 --every-ball
    """
    c.announce_compile("batch")
    from ..studies.spares import COMMON, spares

    with c.progress("throwing") as report:
        result = spares(list(balls), player.release, pattern, player.spread,
                        leaves=leaves or COMMON, shots=shots, seed=seed, friction=basis.friction,
                        progress=report)
    files = []
    if out is not None:
        from ..figures.spares import draw_spares

        files = c.save_pictures([(out, draw_spares(result))], balls, [pattern])
    if as_json:
        c.print_json(result.to_dict() | {
            "spread_source": player.spread_source,
            "provenance": basis.provenance(balls, [pattern])})
    else:
        _print(result, pattern, player, basis.provenance(balls, [pattern]), every_ball)
    for path in files:
        c.say_written(path)


def _print(result: SparesResult, pattern: OilPattern, player: Player, words: str,
           every_ball: bool) -> None:
    click.echo(f"Spares on {pattern.name} ({c.pattern_words(pattern)})")
    click.echo(f"{result.hand}-handed; spread: {player.spread_source}")
    click.echo(f"model: {words}")
    click.echo()
    rows = []
    for leave in dict.fromkeys(x.leave for x in result.lines):
        best = result.best(leave)
        mine = [x for x in result.lines if x.leave == leave] if every_ball else [best]
        for x in sorted(mine, key=lambda x: -x.chance):
            rows.append((leave, x.ball, x.way,
                         f"{100 * x.chance:.0f} ({100 * x.low:.0f}-{100 * x.high:.0f})",
                         f"{x.release.laydown_board:.0f}", f"{x.arrow_board:.1f}",
                         c.signed(x.release.launch_angle_deg, 2), f"{x.arrives_board:.1f}"))
    c.print_table(
        ("leave", "ball", "way", "made [%]", "laydown\nboard", "board at\nthe arrows",
         "angle\n[deg]", "board at\nthe pins"), rows, left=(0, 1, 2),
        note="Straight: the wrist behind the ball, fewer revs. In brackets: 95 % intervals.")
    if result.plastic_worth is not None:
        click.echo()
        click.echo(f"{result.sentence()}.".capitalize())
