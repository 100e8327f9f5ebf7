"""`lanesim transition`: how the oil moves as games go by, and what the balls do then."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import click

from .common import (
    PINS_NOTE,
    announce_compile,
    ball_option,
    fitted_option,
    game_text,
    json_option,
    leaves_text,
    number,
    out_option,
    pattern_option,
    picture_option,
    player_options,
    print_json,
    print_table,
    progress,
    sampling_options,
    save_pictures,
    say_weight,
    say_written,
    signed,
    strike_text,
)


@click.command("transition", short_help="How the oil moves as games go by.")
@ball_option
@click.option("--other", "others", multiple=True, metavar="BALL",
              help="Another ball to look at after every game. Repeat for several.")
@pattern_option
@player_options
@fitted_option
@click.option("--games", type=click.IntRange(1, 20), default=4, show_default=True,
              help="Games to play.")
@click.option("--players", type=click.IntRange(1, 12), default=1, show_default=True,
              help="How many play: the player, and others like him with lines of their own.")
@click.option("--apart", type=float, default=1.0, show_default=True, metavar="BOARDS",
              help="How far apart the others' lines are (1 right of his, 1 left, 2 right ..).")
@click.option("--their-ball", metavar="BALL", help="What the others throw. [default: the same]")
@click.option("--lanes", type=click.IntRange(1, 2), default=2, show_default=True,
              help="One lane, or a pair on which lanes change every frame.")
@click.option("--stay", is_flag=True, help="Nobody moves: all keep their first line.")
@click.option("--wipe", type=float, metavar="RATE",
              help="How much a shot takes, per turn of the ball. [default: 0.32, calibrated]")
@sampling_options("transition")
@picture_option("Draw the oil before and after, and along the line, into FILE (.png, .svg, .pdf).")
@out_option("Write the pattern of the first lane after the last game to FILE (.oil).", "--after",
            "after", (".oil",))
@json_option
def command(
    ball: Any,
    others: tuple[str, ...],
    pattern: Any,
    player: Any,
    basis: Any,
    games: int,
    players: int,
    apart: float,
    their_ball: str | None,
    lanes: int,
    stay: bool,
    wipe: float | None,
    shots: int,
    seed: int,
    out: Path | None,
    after: Path | None,
    as_json: bool,
) -> None:
    """Play games shot by shot and show what becomes of the oil and of each ball's reaction.

    Every shot runs on the film that the shots before it left. Moves are in boards away from the
    ball-arm side: feet first, then the target at the arrows.
    """
    from ..catalog import load_ball
    from ..errors import InputError, check_range
    from ..lane.oil_file import save_pattern
    from ..studies.play import DEFAULT_TRANSFER, Entrant
    from ..studies.transition import transition

    check_range("--apart", apart, -5, 5, "boards")
    transfer = DEFAULT_TRANSFER
    if wipe is not None:
        transfer = replace(transfer, wipe_per_turn=wipe)
    theirs = ball if their_ball is None else basis.ball(load_ball(their_ball))
    entrants = [Entrant(ball, player, player.name)]
    for n in range(1, players):
        boards = apart * ((n + 1) // 2) * (-1 if n % 2 else 1)
        line = player.release
        try:
            line = replace(line, laydown_board=line.laydown_board + boards)
        except InputError:
            raise InputError(f"player {n + 1} would stand off the lane, {boards:+g} boards from "
                             f"board {line.laydown_board:g}; take fewer --players or a smaller "
                             "--apart") from None
        entrants.append(Entrant(theirs, replace(player, release=line), f"other {n}"))
    looked_at = [basis.ball(load_ball(o)) for o in others]
    announce_compile("batch")
    with progress("Playing", games) as report:
        result = transition(
            entrants, pattern, games, balls=looked_at, lanes=lanes,
            follow=not stay, shots=shots, seed=seed, transfer=transfer, progress=report,
            looked=1, friction=basis.friction,
        )
    words = basis.provenance([ball, *looked_at, *(e.ball for e in entrants)], [pattern])
    if out is not None:
        from ..figures.transition import draw_transition

        say_written(*save_pictures([(out, draw_transition(result))], [ball, *looked_at], [pattern]))
    if after is not None:
        say_written(save_pattern(result.stages[games][0], after))
    say_weight([ball, *looked_at])
    if as_json:
        print_json(result.to_dict()
                   | {"spread_source": player.spread_source, "provenance": words})
        return
    _print(result, player, words)


def _print(result: Any, player: Any, words: str) -> None:
    from ..studies.transition import ASSUMPTIONS

    thrown = result.shots_per_lane[-1]
    click.echo(f"{result.pattern.name}: {result.games} games of {len(result.entrants)} on "
               f"{len(thrown)} lane{'s' * (len(thrown) > 1)}, "
               f"{' and '.join(str(n) for n in thrown)} first balls, {player.spread_source}, "
               + ("all move with the oil" if result.follow else "nobody moves"))
    click.echo(f"model: {words}")
    rows = []
    for game in range(result.games + 1):
        rows.append((
            game, number(result.shots_per_lane[game].mean(), 0),
            number(result.lane_ml[game].mean(), 2),
            number(result.line_ml[0, game], 2), number(100 * result.line_left[0, game], 0),
            number(1000 * result.beyond_ml[game].mean(), 0),
        ))
    print_table(
        ("after\ngame", "shots\na lane", "oil on the\nlane [mL]",
         f"on {result.entrants[0].name}'s\nfirst line [mL]", "left\n[%]",
         f"beyond {result.pattern.length_ft:g} ft\n[uL]"),
        rows, title="Oil, mean of the lanes", left=(),
    )
    click.echo("")
    seen = []
    for r in result.reactions:
        seen.append((
            r.ball, r.games, number(r.entry_board, 1), number(r.entry_angle_deg, 1),
            r.pocket.text(0), f"{signed(r.move.feet, 0)} / {signed(r.move.target, 0)}",
            r.pocket_moved.text(0), signed(r.speed_mph, 1), r.pocket_speed.text(0),
        ))
    print_table(
        ("ball", "after\ngame", "entry\nboard", "entry\nangle [deg]", "pocket, first\nline",
         "move feet /\ntarget [boards]", "pocket\nmoved", "or speed\n[mph]", "pocket\nwith it"),
        seen, title=f"Reaction of {result.entrants[0].name}'s balls, each from its own first line",
    )
    _print_pins(result)
    click.echo("")
    advice = result.advice[0]
    if advice.moves:
        for game, move in advice.moves:
            click.echo(f"  After game {game}: feet {signed(move.feet, 0)}, target "
                       f"{signed(move.target, 1)} boards from the first line.")
    else:
        click.echo("  No move pays clearly in these games.")
    if advice.change_to:
        when = f"after game {advice.change_games}" if advice.change_games else "from the start"
        click.echo(f"  Change to {advice.change_to} {when}: its pocket rate on its best line is "
                   "clearly higher.")
    elif len({r.ball for r in result.reactions}) > 1:
        click.echo("  No other ball looked at is clearly better.")
    share = result.laid_ml / result.taken_ml
    for e, taken, part in zip(result.entrants, result.taken_ml, share, strict=True):
        click.echo(f"  {e.name} with {e.ball.name}: took {taken:.2f} mL off the lanes and laid "
                   f"{100 * part:.0f} % of it down again.")
    click.echo("Assumed: " + ";\n  ".join(ASSUMPTIONS) + ".")


def _print_pins(result: Any) -> None:
    rows = [
        (r.ball, r.games, strike_text(r.pins, 0), game_text(r.pins), strike_text(r.pins_moved, 0),
         game_text(r.pins_moved), strike_text(r.pins_speed, 0), game_text(r.pins_speed),
         leaves_text(r.pins_moved))
        for r in result.reactions if r.pins is not None
    ]
    if rows:
        click.echo("")
        print_table(
            ("ball", "after\ngame", "strikes [%],\nfirst line", "pins\nper game",
             "strikes [%],\nmoved", "pins\nper game", "strikes [%],\nwith the speed",
             "pins\nper game", "likeliest leaves,\nmoved [%]"),
            rows, title="What the pins make of the same shots", left=(0, 8), note=PINS_NOTE,
        )
