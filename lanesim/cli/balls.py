"""`lanesim balls`: list the shipped balls, show one, check a ball file."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import click

from ..errors import InputError
from . import common as c

if TYPE_CHECKING:
    from ..equipment.ball import Ball


@click.command()
@click.argument("ball", required=False)
@click.option("--check", "check_file", metavar="FILE",
              help="Check a ball file (TOML) and list what it holds, or say what is wrong where.")
@c.json_option
def command(ball: str | None, check_file: str | None, as_json: bool) -> None:
    """List the shipped balls, or show one.

    BALL is a shipped ball's name, FILE.toml or FILE.toml:NAME. All shipped balls are invented;
    what a kind of cover does is assumed (see the README).

    \b
    lanesim balls
    lanesim balls strong-asym
    lanesim balls --check my-balls.toml
    """
    from ..catalog import load_ball, read_balls, shipped_balls

    if check_file is not None:
        if ball is not None:
            raise InputError("--check FILE stands alone: leave BALL away")
        balls = read_balls(check_file)
        _list(balls, as_json, f"{check_file}: in order, {len(balls)} "
                              f"{'ball' if len(balls) == 1 else 'balls'}")
    elif ball is None:
        _list(shipped_balls(), as_json, "")
    else:
        _show(load_ball(ball), as_json)


def _list(balls: dict[str, Ball], as_json: bool, title: str) -> None:
    if as_json:
        c.print_json([ball_numbers(ball) for ball in balls.values()])
        return
    from ..equipment.layout import layout_text

    rows = [
        [name, f"{b.weight_lb:g}", f"{b.rg_in:.2f}", f"{b.diff_in:.3f}", f"{b.int_diff_in:.3f}",
         layout_text(b.layout), b.cover.finish, f"{b.cover.games_total:g}",
         b.cover.kind]
        for name, b in balls.items()
    ]
    c.print_table(
        ["ball", "weight\n[lb]", "RG\n[in]", "diff.\n[in]", "int. diff.\n[in]",
         "layout", "finish", "games", "cover"],
        rows, title=title, note=_invented(balls.values()), left=(0, 5, 6, 8),
    )


def _show(ball: Ball, as_json: bool) -> None:
    numbers = ball_numbers(ball)
    if as_json:
        c.print_json(numbers)
        return
    from ..equipment.layout import layout_text

    cover = ball.cover
    symmetric = "symmetric" if not ball.int_diff_in else "asymmetric"
    click.echo(f"{ball.name}: {ball.title}")
    facts = [
        ("weight", f"{ball.weight_lb:g} lb"),
        ("core", f"{symmetric}; RG {ball.rg_in:g} in, differential {ball.diff_in:g} in, "
                 f"intermediate differential {ball.int_diff_in:g} in"),
        ("layout", layout_text(ball.layout)),
        ("", f"mass bias to PAP {numbers['mass_bias_to_pap_in']:.2f} in, pin to VAL "
             f"{numbers['pin_to_val_in']:.2f} in"),
        ("cover", f"{cover.kind}, {cover.finish}"),
        ("games", f"{cover.games_total:g} in all, {cover.games_since_surface:g} since the surface "
                  f"was refreshed, oil drawn out {cover.oil_extractions} times"),
        ("surface now", f"Ra {cover.ra_um:.2f} um (assumed from the finish and the games)"),
        ("dry friction", f"{cover.dry_friction:.3f} (assumed for this kind of cover)"),
        ("oil uptake", f"{cover.uptake:.2f} of the track's film per turn (assumed)"),
    ]
    if ball.invented:
        facts.append(("invented", "yes, nobody's product"))
    if ball.note:
        facts.append(("note", ball.note))
    c.print_facts(facts)


def _invented(balls: Iterable[Ball]) -> str:
    from ..catalog import invented_words

    words = invented_words(balls)
    return f"{words[0].upper()}{words[1:]}: nobody's products." if words else ""


def ball_numbers(ball: Ball) -> dict[str, Any]:
    """A ball as plain values for JSON."""
    cover = ball.cover
    return {
        "name": ball.name,
        "title": ball.title,
        "weight_lb": ball.weight_lb,
        "rg_in": ball.rg_in,
        "diff_in": ball.diff_in,
        "int_diff_in": ball.int_diff_in,
        "layout": ball.layout,
        "mass_bias_to_pap_in": ball.layout.mass_bias_to_pap_in(),
        "pin_to_val_in": ball.layout.pin_to_val_in(),
        "cover": cover.kind,
        "finish": cover.finish,
        "games_since_surface": cover.games_since_surface,
        "games_total": cover.games_total,
        "oil_extractions": cover.oil_extractions,
        "ra_um": cover.ra_um,
        "dry_friction": cover.dry_friction,
        "uptake": cover.uptake,
        "invented": ball.invented,
        "note": ball.note,
    }
