"""`lanesim lineup`: where to stand and what to aim at."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from . import common as c

if TYPE_CHECKING:
    from ..equipment.ball import Ball
    from ..fit.fitted import Basis
    from ..lane.pattern import OilPattern
    from ..lines.judge import Line, LineResult
    from ..lines.misses import MissReport, Room
    from ..pins.outcomes import PinResult
    from ..player import Player


@click.command()
@c.ball_option
@c.pattern_option
@c.player_options
@c.fitted_option
@click.option("--aim", type=click.Choice(["pocket", "strike"]), default="pocket",
              show_default=True, help="What to find most often.")
@click.option("--search-speed", is_flag=True, help="Also try 2 mph slower to 2 mph faster.")
@click.option("--boards", nargs=2, type=float, default=(6.0, 35.0), show_default=True,
              metavar="LOW HIGH", help="Laydown boards to try (the default is assumed).")
@c.effort_option
@c.sampling_options("lineup")
@c.picture_option("Draw the map of rates over laydown and angle into FILE (.png, .svg or .pdf).")
@c.json_option
def command(
    ball: Ball, pattern: OilPattern, player: Player, basis: Basis, aim: str, search_speed: bool,
    boards: tuple[float, float], effort: str, shots: int, seed: int, out, as_json: bool,
) -> None:
    """Find the laydown board and launch angle that hit the pocket most often.

    The player's own spread decides: a line that needs a perfect shot loses. Laydown and angle of
    the release options play no part; --shots judge the line found, on fresh shots.

    \b
    lanesim lineup
    lanesim lineup --ball weak-pearl --pattern short-33 --level 160 --out map.png
    lanesim lineup --player me.toml --search-speed --json
    """
    c.announce_compile("batch")
    from ..lines.lineup import find_line
    from ..lines.misses import miss_report
    from ..studies.odds import has_carry_table, with_pins

    with c.progress("lining up") as report:
        line = find_line(
            ball, player.release, pattern, player.spread, shots=shots, seed=seed, aim=aim,
            search_speed=search_speed, laydown_range=boards, effort=effort,
            judge_others=3, friction=basis.friction, progress=report,
        )
    with c.progress("room for misses"):
        room = miss_report(ball, line.release, pattern, player.spread, shots=min(shots, 2048),
                           seed=seed, aim=aim, friction=basis.friction)
    pins = with_pins(line).pins if has_carry_table() else None
    if out is not None:
        from ..figures.lineup import draw_lineup

        c.save_pictures([(out, draw_lineup(line))], [ball], [pattern])
    if as_json:
        c.print_json(line.to_dict() | {
            "misses": room.to_dict(), "pins": pins.to_dict() if pins else None,
            "spread_source": player.spread_source,
            "as_you_measure_it": basis.measured(line.release) if basis.offsets else None,
            "provenance": basis.provenance([ball], [pattern]),
        })
    else:
        _print(line, room, pins, ball, pattern, player, basis)
    c.say_weight([ball])
    if out is not None:
        c.say_written(out)


def _print(
    line: LineResult, room: MissReport, pins: PinResult | None, ball: Ball, pattern: OilPattern,
    player: Player, basis: Basis,
) -> None:
    release = line.release
    click.echo(f"{ball.name} on {pattern.name}")
    if not line.found:
        click.echo(f"No line found: {line.message}.")
    c.print_facts([
        ("ball", c.ball_words(ball)),
        ("pattern", c.pattern_words(pattern)),
        ("player", f"{c.spin_words(release)}, {release.hand}-handed; spread: "
                   f"{player.spread_source}"),
        ("model", basis.provenance([ball], [pattern])),
    ])
    click.echo()
    facts = [
        ("lay down on", f"board {release.laydown_board:.1f}"),
        ("launch angle", f"{c.signed(release.launch_angle_deg, 2)} deg, over board "
                         f"{line.arrow_board:.1f} at the arrows"),
    ]
    if basis.offsets:
        facts += [("as you measure", c.release_words(basis.measured(release)))]
    facts += [("in the pocket", f"{line.pocket.text()} of shots")]
    if pins is not None:
        leaves = ", ".join(f"{leave} ({100 * p:.1f} %)" for leave, p in pins.leaves(4))
        facts += [
            ("strikes", f"{c.strike_text(pins)} % of shots"),
            ("pins per game", f"{c.game_text(pins)} on such shots alone"),
            ("likeliest leaves", leaves),
        ]
    facts += [
        ("entry", f"board {line.entry_board_mean:.1f} (SD {line.entry_board_sd:.1f}) at "
                  f"{line.entry_angle_mean_deg:.1f} deg (SD {line.entry_angle_sd_deg:.1f}), "
                  f"{line.entry_speed_mean_mph:.1f} mph"),
        ("room, laydown", _room(room.room_laydown, "boards", 1)),
        ("room, angle", _room(room.room_angle, "deg", 2)),
    ]
    c.print_facts(facts)
    click.echo()
    from ..motion.pocket import OUTCOME_WORDS

    c.print_table(
        ["outcome", "% of shots", "95 % interval"],
        [[OUTCOME_WORDS[name], f"{100 * r.rate:.1f}", f"{100 * r.low:.1f}-{100 * r.high:.1f}"]
         for name, r in line.outcome_rates.items()],
    )
    click.echo()
    c.print_table(
        ["from there", "entry board", "entry angle", "rate [points]", "95 % interval"],
        [row for e in room.effects for row in (
            _effect(f"- {e.words}", e.entry_board_less, e.entry_angle_less_deg, e.rate_less),
            _effect(f"+ {e.words}", e.entry_board_more, e.entry_angle_more_deg, e.rate_more),
        )],
    )
    if line.alternatives:
        click.echo()
        c.print_table(
            ["other lines: laydown board", "angle [deg]", "rate [%]", "95 % interval",
             "behind the best [points]"],
            [[f"{a.laydown_board:.1f}", c.signed(a.launch_angle_deg, 2), f"{100 * a.rate:.1f}",
              f"{100 * a.low:.1f}-{100 * a.high:.1f}", _behind(a)] for a in line.alternatives],
            note="Other lines: each the best within 3 boards, on the same shots as the best line.",
        )


def _behind(line: Line) -> str:
    if line.behind is None:
        return "-"
    d = line.behind
    return f"{-100 * d.value:.1f} ({-100 * d.high:.1f} to {-100 * d.low:.1f})"


def _room(room: Room, unit: str, decimals: int) -> str:
    def far(value: float, open_end: bool) -> str:
        return f"{'over ' if open_end else ''}{value:.{decimals}f}"

    lower, higher = far(room.rate_lower, room.lower_open), far(room.rate_higher, room.higher_open)
    return (f"{lower} {unit} lower, {higher} higher to {100 * room.share:.0f} % of the rate; the "
            f"mean shot misses the pocket {room.mean_lower:.{decimals}f} lower, "
            f"{room.mean_higher:.{decimals}f} higher")


def _effect(words: str, board: float, angle: float, rate) -> list[str]:
    return [words, c.signed(board, 2), f"{c.signed(angle, 2)} deg",
            c.signed(100 * rate.value, 1),
            f"{c.signed(100 * rate.low, 1)} to {c.signed(100 * rate.high, 1)}"]
