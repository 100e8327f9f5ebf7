"""`lanesim wear`: what games did to each ball of a log, and what to do about it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from .common import (
    PINS_NOTE,
    announce_compile,
    fitted_option,
    game_text,
    json_option,
    leaves_text,
    number,
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
    strike_text,
)

if TYPE_CHECKING:
    from ..studies.wear import BallWear


@click.command("wear", short_help="What games do to a cover, and when to refresh it.")
@click.argument("log_file", metavar="[LOG]", required=False)
@click.option("--balls", "balls_file", metavar="FILE.toml",
              help="Ball file with the balls of the log, as they were before its first entry. "
                   "[default: the shipped balls]")
@click.option("--ball", "only", multiple=True, metavar="NAME",
              help="Only this ball of the log. Repeat for several.")
@click.option("--today", metavar="DATE", help="Date to judge at, YYYY-MM-DD. [default: today]")
@click.option("--event", metavar="DATE", help="Date of the event, YYYY-MM-DD.")
@click.option("--games-per-week", type=float, metavar="GAMES",
              help="Games a week per ball from now on. [default: the log's own pace]")
@click.option("--allowed", type=float, metavar="BOARDS",
              help="Loss at which a ball is to be refreshed or replaced. [default: 1.5, assumed]")
@click.option("--sets", type=click.IntRange(4, 1000), default=24, show_default=True,
              help="Sampled sets of wear parameters behind every band.")
@pattern_option
@player_options
@fitted_option
@sampling_options("wear")
@picture_option("Draw the wear curves with their bands into FILE (.png, .svg or .pdf).")
@json_option
def command(
    log_file: str | None,
    balls_file: str | None,
    only: tuple[str, ...],
    today: str | None,
    event: str | None,
    games_per_week: float | None,
    allowed: float | None,
    sets: int,
    pattern: Any,
    player: Any,
    basis: Any,
    shots: int,
    seed: int,
    out: Path | None,
    as_json: bool,
) -> None:
    """Judge every ball of a LOG today and at an event.

    LOG is a text file with a line per date and ball: date,ball,games,refreshed,extracted,note.
    Without LOG an invented season is shown, judged at its last day.
    """
    from datetime import date

    from ..catalog import DATA, read_balls, shipped_balls
    from ..equipment.ball_log import load_log, parse_day
    from ..studies import wear

    balls = shipped_balls() if balls_file is None else read_balls(balls_file)
    balls = {name: basis.ball(ball) for name, ball in balls.items()}
    log = load_log(DATA / "demo_log.csv" if log_file is None else log_file, balls)
    demo = log_file is None
    if today is not None:
        now = parse_day(today, "--today")
    else:
        now = log.last_day if demo else date.today()
    names = wear.checked_names(log, balls, only)
    announce_compile("batch")
    with progress("Wearing covers") as report:
        result = wear.wear(
            log, balls, player, pattern, today=now,
            event=None if event is None else parse_day(event, "--event"),
            only=names, games_per_week=games_per_week,
            allowed_boards=wear.ALLOWED_BOARDS if allowed is None else allowed,
            shots=shots, sets=sets, seed=seed, friction=basis.friction, progress=report,
        )
    words = basis.provenance([balls[name] for name in names], [pattern])
    if out is not None:
        from ..figures.wear import draw_wear

        shown = [balls[name] for name in names]
        say_written(*save_pictures([(out, draw_wear(result))], shown, [pattern]))
    say_weight(balls[name] for name in names)
    if as_json:
        print_json(result.to_dict()
                   | {"spread_source": player.spread_source, "provenance": words})
        return
    where = "an invented log" if demo else log_file
    click.echo(f"{where}, today {result.today}"
               + (f", event {result.event}" if result.event else "")
               + f", on {result.pattern}, {player.spread_source}")
    click.echo(f"model: {words}")
    for ball in result.balls:
        click.echo("")
        _print_ball(ball)
    click.echo("")
    if any(s.pins_own_line for ball in result.balls for s in ball.standings):
        click.echo(PINS_NOTE)
    click.echo(
        "lost: boards less hook than the new ball on the new ball's line; entry: on the own line.\n"
        f"Pocket rates: 95 % interval of {result.shots} shots. Other ranges: middle 90 % over "
        f"{result.sets} sampled sets of wear parameters;\n'-': beyond the games looked at.\n"
        "Assumed: "
        + ";\n  ".join(wear.ASSUMPTIONS) + "."
    )
    click.echo("\nCautions")
    for text in wear.CAUTIONS:
        click.echo(f"  {text}")


def _print_ball(ball: BallWear) -> None:
    games = "planned in the log" if ball.planned else f"at {ball.pace_per_week:.1f} a week"
    if ball.games_to_event:
        games = f"{ball.games_to_event:.0f} games until the event, {games}"
    rows = []
    for s in ball.standings:
        c = s.cover
        rows.append((
            s.state, c.finish, f"{c.games_since_surface:.0f}", f"{c.games_total:.0f}",
            number(c.ra_um, 2), number(c.dry_friction, 3), s.boards_lost.text(),
            s.pocket_new_line.text(0), _percent(s.pocket_new_line_band),
            s.pocket_own_line.text(0), _percent(s.pocket_own_line_band),
            number(s.entry_angle_deg, 1), number(s.entry_board, 1), s.angle_lost_deg.text(),
        ))
    print_table(
        ("state", "finish", "games since\nsurface", "games\nin all", "Ra\n[um]", "dry\nfriction",
         "lost [boards]\nand band", "pocket, new\nball's line", "band\n[%]", "pocket,\nown line",
         "band\n[%]", "entry\nangle [deg]", "entry\nboard", "angle lost\n[deg] and band"),
        rows, title=f"{ball.ball.name} ({ball.ball.title}; {games})", left=(0, 1),
    )
    struck = [
        (s.state, strike_text(s.pins_new_line, 0), _percent(s.strike_new_line_band),
         game_text(s.pins_new_line), strike_text(s.pins_own_line, 0),
         _percent(s.strike_own_line_band), game_text(s.pins_own_line), leaves_text(s.pins_own_line))
        for s in ball.standings if s.pins_new_line is not None and s.pins_own_line is not None
    ]
    if struck:
        click.echo("")
        print_table(
            ("state", "strikes [%], new\nball's line", "band\n[%]", "pins\nper game",
             "strikes [%],\nown line", "band\n[%]", "pins\nper game", "likeliest leaves\n[%]"),
            struck, left=(0, 7),
        )
    for sentence in ball.advice:
        click.echo(f"  {sentence}")


def _percent(band: Any) -> str:
    return f"{100 * band.low:.0f}-{100 * band.high:.0f}"
