"""`lanesim odds`: how often a player's spread finds the pocket, ball against ball."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from ..errors import InputError
from . import common as c

if TYPE_CHECKING:
    from ..fit.fitted import Basis
    from ..lane.pattern import OilPattern
    from ..player import Player
    from ..studies.odds import OddsResult


@click.command()
@c.balls_option
@c.pattern_option
@c.player_options
@c.fitted_option
@click.option("--line", "lines", type=click.Choice(["own", "first", "given"]), default="own",
              show_default=True,
              help="own: each ball on its best line; first: all on the first ball's; given: all on "
                   "the release options' laydown and angle.")
@click.option("--aim", type=click.Choice(["pocket", "strike"]), default="pocket",
              show_default=True, help="What a best line finds most often.")
@c.effort_option
@c.sampling_options("odds")
@c.picture_option("Draw outcomes and differences into FILE (.png, .svg or .pdf).")
@c.out_option("Draw where the shots meet the pins, on the map of strike chances, into FILE.",
              "--carry-map", "carry_map")
@c.json_option
def command(
    balls: tuple, pattern: OilPattern, player: Player, basis: Basis, lines: str, aim: str,
    effort: str, shots: int, seed: int, out, carry_map, as_json: bool,
) -> None:
    """How often a ball finds the pocket, and which of several does so more often.

    Balls meet the same shots (common random numbers), so a difference is known better than either
    rate; the number of shots it would take to see it on a real lane is given too.

    \b
    lanesim odds
    lanesim odds --ball strong-solid --ball polished-pearl --level 200
    lanesim odds --ball weak-pearl --line given --laydown 15 --target 8 --json
    """
    c.announce_compile("batch")
    from ..studies.odds import odds

    with c.progress("throwing") as report:
        result = odds(balls, player.release, pattern, player.spread, shots=shots, seed=seed,
                      lines=lines, aim=aim, effort=effort, friction=basis.friction,
                      progress=report)
    files = c.save_pictures(_draw(result, out, carry_map), balls, [pattern])
    if as_json:
        c.print_json(result.to_dict() | {
            "spread_source": player.spread_source, "provenance": basis.provenance(balls, [pattern]),
            "as_you_measure_it": [basis.measured(b.line.release) for b in result.balls]
            if basis.offsets else None,
        })
    else:
        _print(result, pattern, player, basis, basis.provenance(balls, [pattern]))
    c.say_weight(balls)
    for path in files:
        c.say_written(path)


def _draw(result: OddsResult, out, carry_map) -> list:
    drawn = []
    if out is not None:
        from ..figures.odds import draw_odds

        drawn.append((out, draw_odds(result)))
    if carry_map is not None:
        import numpy as np

        from ..figures.pins import draw_carry_map
        from ..pins.table import default_table

        tables = [b.line.table for b in result.balls]
        speeds = np.concatenate([t.entry_speed_mph for t in tables])
        if not np.isfinite(speeds).any():
            raise InputError("no shot reaches the pins: there is nothing to put on the map")
        drawn.append((carry_map, draw_carry_map(
            default_table(), round(float(np.nanmean(speeds)), 1), hand=result.hand,
            shots=[(b.line.ball, t.entry_board, t.entry_angle_deg)
                   for b, t in zip(result.balls, tables, strict=True)],
            title=f"Where the shots on {result.pattern} meet the pins",
        )))
    return drawn


def _print(
    result: OddsResult, pattern: OilPattern, player: Player, basis: Basis, words: str
) -> None:
    from ..motion.pocket import OUTCOMES

    click.echo(f"Odds on {pattern.name} ({c.pattern_words(pattern)})")
    click.echo(f"{result.shots:,} shots a ball, {result.hand}-handed; "
               f"spread: {player.spread_source}")
    click.echo(f"model: {words}")
    click.echo()
    names = [ball.line.ball for ball in result.balls]
    rows = [
        ["laydown board", *(f"{b.line.release.laydown_board:.1f}" for b in result.balls)],
        ["launch angle [deg]",
         *(c.signed(b.line.release.launch_angle_deg, 2) for b in result.balls)],
    ]
    if basis.offsets:
        own = [basis.measured(b.line.release) for b in result.balls]
        rows += [["as you measure", *(f"{r.laydown_board:.1f}, {r.launch_angle_deg:.2f} deg"
                                      for r in own)]]
    rows += [[f"{_OUTCOMES[name]} [%]", *(b.line.outcome_rates[name].text().replace(" %", "")
                                          for b in result.balls)] for name in OUTCOMES]
    pins = [b.pins for b in result.balls if b.pins is not None]
    if len(pins) == len(result.balls):
        rows += [
            ["strikes [%]", *map(c.strike_text, pins)], ["pins per game", *map(c.game_text, pins)],
            ["likeliest leaves", *map(c.leaves_text, pins)],
        ]
    c.print_table(["", *names], rows, note="In brackets: 95 % intervals.")
    for ball in result.balls:
        if not ball.line.found:
            click.echo(f"{ball.line.ball}: {ball.line.message}.")
    if result.comparisons:
        click.echo()
        if result.lines == "own":
            click.echo("Each ball on its own best line, found by search: good to a point or two.")
        for pair in result.comparisons:
            click.echo(f"{pair.sentence()}.")


_OUTCOMES = {"pocket": "pocket", "high": "high", "light": "light", "opposite": "far side",
             "missed": "past the head pin", "gutter": "gutter"}
