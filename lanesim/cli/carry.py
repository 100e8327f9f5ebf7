"""`lanesim carry`: what the pins do when the ball arrives."""

from __future__ import annotations

import click

from ..errors import InputError, check_range
from . import common as c


@click.command()
@click.option("--board", type=float, default=17.5, show_default=True, metavar="BOARD",
              help="Board of the ball's centre as it meets the pins, from the ball-arm side.")
@click.option("--angle", type=float, default=6.0, show_default=True, metavar="DEG",
              help="Entry angle; positive: away from the ball-arm side.")
@click.option("--speed", type=float, default=16.5, show_default=True, metavar="MPH",
              help="Speed at the pins (two to four less than at release).")
@click.option("--weight", "ball_lb", type=float, default=15.0, show_default=True, metavar="LB",
              help="Weight of the ball, 12 to 16 lb.")
@click.option("--leaves", type=click.IntRange(1, 100), default=8, show_default=True,
              help="How many leaves to list.")
@c.out_option("Draw the map of strike chances over board and angle at this speed into FILE.")
@c.out_option("Simulate one such ball (about a second) and draw its way through the rack "
              "into FILE.", "--rack", "rack")
@c.seed_option
@c.json_option
def command(board, angle, speed, ball_lb, leaves, out, rack, seed, as_json) -> None:
    """Chance of a strike, and what is left, for one way of meeting the pins.

    From a table of simulated hits; intervals cover the number of hits simulated, not what the
    model gets wrong. Pins per game are those of a player whose every ball arrives so.

    What the simulated deck makes of a right-handed professional (1.3 boards of spread; in brackets
    the range of eight decks that published leaves do not rule out either): strikes 59 % (51-57;
    published 61), 10 pin 10.0 % of first balls (8.0-11.8), 7 pin 3.8 % (2.4-6.3), 9 pin 0.9 %
    (0.5-2.2), 5 pin 4.0 % (1.7-4.1; too many). Strikes rise with the angle, from 40 % at 2 deg to
    64 % at 6 deg over the same boards. At 5 deg they peak between boards 17 and 18 (about 90 %);
    a light hit at 15.5 strikes more often (62 %) than one at 16 (48 %).

    \b
    lanesim carry
    lanesim carry --board 16.5 --angle 4 --speed 17
    lanesim carry --out carry.png --rack rack.png
    """
    check_range("entry board", board, 1, 39)
    check_range("entry angle", angle, -10, 10, "deg")
    check_range("speed at the pins", speed, 8, 26, "mph")
    check_range("ball weight", ball_lb, 12, 16, "lb")
    from ..pins.outcomes import pins_from_shots
    from ..pins.score import leave_mask
    from ..pins.spares import default_spares
    from ..pins.table import default_table

    table = default_table().for_ball(ball_lb)
    rate, low, high, runs = table.strike_interval(board, angle, speed)
    result = pins_from_shots([board], [angle], [speed], ball_lb=ball_lb)
    spares = default_spares()
    outside = bool(table.outside(board, angle, speed))
    rows = [
        (name, share, spares.detail(leave_mask(name))) for name, share in result.leaves(leaves)
    ]
    drawn = _draw(table, board, angle, speed, ball_lb, out, rack, seed)
    if as_json:
        c.print_json({
            "board": board, "angle_deg": angle, "speed_mph": speed, "weight_lb": ball_lb,
            "strike_rate": rate, "low": low, "high": high, "runs_that_count": runs,
            "outside_table": outside,
            "leaves": [{"leave": n, "share": s, "spare": d} for n, s, d in rows],
            "mean_first_ball": result.mean_first_ball, "spare_rate": result.spare_rate,
            "pins_per_game": result.pins_per_game, "provenance": table.provenance,
        })
    else:
        c.print_facts([
            ("strikes", f"{100 * rate:.0f} % ({100 * low:.0f}-{100 * high:.0f}), simulated, about "
                        f"{runs:.0f} hits' worth"),
            ("first ball", f"{result.mean_first_ball:.2f} pins"),
            ("every ball so", f"{result.pins_per_game:.0f} pins a game"),
        ], title=f"Board {board:g} at {angle:g} deg, {speed:g} mph")
        click.echo()
        if rows:
            c.print_table(
                ("leave", "share\n[%]", "of the\nrest [%]", "made\n[%]", "rate from"),
                [(name, c.number(100 * share), c.number(100 * share / max(1 - rate, 1e-9)),
                  c.number(100 * d["rate"]), d["source"]) for name, share, d in rows],
                left=(0, 4),
                note="Made: published rates are professionals'; simulated ones for a straight ball "
                     f"with a spread of\n{spares.spread_boards:.1f} boards at the pins, about "
                     "theirs. With a player given ('lanesim odds') his own spread is used.",
            )
        if outside:
            c.say("this entry lies outside the table (boards 1-39, angles to 7.5 deg, 13-19 mph): "
                  "the nearest edge was used")
    for path in drawn:
        c.say_written(path)


def _draw(table, board, angle, speed, ball_lb, out, rack, seed) -> list:
    from ..files import save_figure

    figures = []
    if out is not None:
        from ..figures.pins import draw_carry_map

        if angle < 0:
            raise InputError("the map shows angles from 0 to 7.5 deg; mirror the shot "
                             "(40 - board, -angle)")
        figures.append((out, draw_carry_map(
            table, speed, shots=[("this entry", [board], [angle])])))
    if rack is not None:
        from ..figures.pins import draw_rack
        from ..pins.model import Hit, simulate

        hit = Hit(board, angle, speed, ball_lb=ball_lb)
        figures.append((rack, draw_rack(simulate(hit, seed=seed, record=True), hit)))
    return [save_figure(figure, path) for path, figure in figures]
