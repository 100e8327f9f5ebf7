"""`lanesim drill`: a marking sheet, the drilled ball's numbers and its static weights."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from .common import (
    Inches,
    ball_option,
    json_option,
    layout_options,
    number,
    picture_option,
    print_facts,
    print_json,
    print_table,
    save_pictures,
    say,
    say_written,
    signed,
)

if TYPE_CHECKING:
    from collections.abc import Callable

    from ..equipment.ball import Ball
    from ..equipment.drilling import DrilledBall
    from ..equipment.grip import Grip
    from ..equipment.layout import Layout
    from ..equipment.marking import Mark

CAUTIONS = (
    "Drilling is work for a fitted press and a trained hand: clamp the ball so that it cannot "
    "turn, never hold it.",
    "Wear eye and ear protection, no gloves, loose sleeves or hanging hair near the bit; draw off "
    "chips and dust and do not breathe them.",
    "A ball weighs up to 16 lb (7.3 kg): lift with both hands, keep fingers and feet from under "
    "it.",
    "A span or pitch that is wrong strains the hand, wrist and elbow: have a certified pro-shop "
    "fitter measure you.",
    "Follow local workshop codes and the maker's instructions; holes cannot be undone.",
)


@click.command("drill", short_help="Lay out and drill a ball; weights against the limits.")
@ball_option
@layout_options
@click.option("--mass-bias-to-pap", type=Inches(), metavar="IN",
              help="Instead of --drilling, the arc from the mass bias to the PAP.")
@click.option("--pin-to-val", type=Inches(), metavar="IN",
              help="Instead of --val, the arc from the pin to the vertical axis line.")
@click.option("--pin-side", type=click.Choice(["fingers", "thumb"]), default="fingers",
              show_default=True,
              help="With --pin-to-val: on which side of the PAP the pin lies; the arc fits both.")
@click.option("--grip", "grip_file", metavar="FILE",
              help="Grip file (TOML: span_in, pap_over_in, ...); the options below override it. "
                   "[default: an assumed mid-size hand]")
@click.option("--pap-over", type=Inches(), metavar="IN",
              help="PAP from the grip centre along the midline, toward the ball arm.")
@click.option("--pap-up", type=Inches(), metavar="IN",
              help="PAP above the midline; negative: on the thumb's side.")
@click.option("--span", type=Inches(), metavar="IN", help="Thumb to finger hole, edge to edge.")
@click.option("--no-thumb", is_flag=True, help="No thumb hole.")
@click.option("--hand", type=click.Choice(["right", "left"]), default="right", show_default=True)
@click.option("--top-weight", type=float, metavar="OZ",
              help="Undrilled top weight. [default: 2.5, assumed]")
@click.option("--pin-to-cg", type=Inches(), metavar="IN",
              help="Arc from the pin to the marked centre of gravity, toward the mass bias. "
                   "[default: 0, assumed]")
@click.option("--density", type=float, metavar="G/CM3",
              help="Density of what is drilled out. [default: the ball's mean, assumed]")
@picture_option("Draw the ball's face into FILE (.png, .svg or .pdf).")
@json_option
def command(
    ball: Ball,
    layout: Callable[[Layout], Layout],
    mass_bias_to_pap: float | None,
    pin_to_val: float | None,
    pin_side: str,
    grip_file: str | None,
    pap_over: float | None,
    pap_up: float | None,
    span: float | None,
    no_thumb: bool,
    hand: str,
    top_weight: float | None,
    pin_to_cg: float | None,
    density: float | None,
    out: Path | None,
    as_json: bool,
) -> None:
    """Lay out a ball, take its gripping holes out, and print a marking sheet.

    The sheet gives the points in the order of marking, in sixteenths of an inch and in
    millimetres, the mass properties before and after, and static weights against the standard's
    limits. What you do not give is assumed and named as such. A left-hander's ball is the mirror
    image. Inches are written 5.25 or '5 1/4'.

    \b
    lanesim drill --drilling 50 --pin 4.5 --val 30
    lanesim drill --pin "4 1/2" --mass-bias-to-pap "5 5/8" --pin-to-val "1 7/8"
    """
    from dataclasses import replace

    from ..equipment.drilling import DEFAULT_TOP_WEIGHT_OZ, drill
    from ..equipment.grip import DEFAULT_GRIP, load_grip
    from ..equipment.holes import Material
    from ..equipment.marking import marking_steps as steps_of

    chosen = _layout(layout(ball.layout), mass_bias_to_pap, pin_to_val, pin_side)
    grip = load_grip(grip_file) if grip_file else DEFAULT_GRIP
    given: dict[str, Any] = {"pap_over_in": pap_over, "pap_up_in": pap_up, "span_in": span,
             "thumb": False if no_thumb else None}
    grip = replace(grip, **{k: v for k, v in given.items() if v is not None})
    top = DEFAULT_TOP_WEIGHT_OZ if top_weight is None else top_weight
    lean = 0.0 if pin_to_cg is None else pin_to_cg
    drilled = drill(
        weight_lb=ball.weight_lb, rg_in=ball.rg_in, diff_in=ball.diff_in,
        int_diff_in=ball.int_diff_in, layout=chosen, grip=grip,
        material=Material() if density is None else Material(((0.0, density),)),
        top_weight_oz=top, pin_to_cg_in=lean,
    )
    symmetric = ball.int_diff_in == 0.0
    steps = steps_of(chosen, grip, hand=hand, symmetric=symmetric)
    assumed = _assumed(grip, grip_file, top_weight, pin_to_cg, density)

    if out is not None:
        from ..figures.drill import draw_drilling

        figure = draw_drilling(drilled, chosen, grip, hand=hand, symmetric=symmetric,
                               title=f"Drilled: {ball.title or ball.name}")
        say_written(*save_pictures([(out, figure)], [ball]))
    if as_json:
        print_json(_as_dict(ball, chosen, grip, hand, drilled, steps, assumed, top))
        return
    _sheet(ball, chosen, grip, hand, drilled, steps, assumed, symmetric)


def _layout(
    layout: Layout, mass_bias_to_pap: float | None, pin_to_val: float | None, pin_side: str
) -> Layout:
    """The layout with its angles from measured arcs, where they are given."""
    from dataclasses import replace

    from ..equipment.layout import drilling_from_arcs, val_from_arcs
    from ..errors import InputError

    given = click.get_current_context().params
    for arc, angle in (("mass_bias_to_pap", "drilling"), ("pin_to_val", "val")):
        if given[arc] is not None and given[angle] is not None:
            raise InputError(f"give --{angle} or --{arc.replace('_', '-')}, not both: each fixes "
                             "the same angle")
    pin = layout.pin_to_pap_in
    if mass_bias_to_pap is not None:
        layout = replace(layout, drilling_deg=drilling_from_arcs(
            pin_to_pap_in=pin, mass_bias_to_pap_in=mass_bias_to_pap))
    if pin_to_val is not None:
        layout = replace(layout, val_deg=val_from_arcs(
            pin_to_pap_in=pin, pin_to_val_in=pin_to_val,
            pin_toward_fingers=pin_side == "fingers"))
        say(f"note: the arc fits VAL angles {layout.val_deg:.1f} and "
            f"{180.0 - layout.val_deg:.1f} deg; taken: pin on the side of the {pin_side}")
    return layout


def _assumed(
    grip: Grip,
    grip_file: str | None,
    top_weight: float | None,
    pin_to_cg: float | None,
    density: float | None,
) -> list[str]:
    """What the user did not say, in words."""
    words = []
    if grip_file is None:
        words.append("grip and hole sizes: a mid-size hand, apart from options given")
    if top_weight is None:
        words.append("undrilled top weight 2.5 oz")
    if pin_to_cg is None:
        words.append("centre of gravity marked at the pin")
    if density is None:
        words.append("drilled-out material has the ball's mean density")
    words.append("1 oz of static weight = 1 oz on the surface; inserts and tape weigh nothing")
    return words


def _sheet(
    ball: Ball,
    layout: Layout,
    grip: Grip,
    hand: str,
    drilled: DrilledBall,
    steps: tuple[Mark, ...],
    assumed: list[str],
    symmetric: bool,
) -> None:
    from ..equipment.drilling import RULE_NOTE
    from ..equipment.inches import sixteenths
    from ..equipment.layout import layout_text
    from ..units import INCH_M, LB_KG

    print_facts(
        [
            ("ball", f"{ball.name}  ({ball.title or ball.name})"),
            ("hand", f"{hand}; fingers up, seen from outside the ball"),
            ("layout", layout_text(layout)),
        ],
        title="Marking and drilling sheet",
    )
    click.echo()
    rows = []
    count = 0
    for step in steps:
        count += not step.check
        label = "check" if step.check else str(count)
        if step.arc_in is not None:
            size = (sixteenths(step.arc_in), number(25.4 * step.arc_in, 1), "")
        elif step.angle_deg is not None:
            size = ("", "", number(step.angle_deg, 1))
        else:
            size = ("", "", "")
        rows.append((label, step.text, *size))
    print_table(("step", "mark", "in", "mm", "deg"), rows, title="Marking order", left=(0, 1),
                note="Arcs run along the surface of a ball 8.550 in (217.2 mm) across; inches to "
                     "the nearest sixteenth.")
    click.echo()
    print_table(
        ("hole", "diameter\nin", "\nmm", "depth\nin", "\nmm", "forward\nin", "lateral\nin",
         "taken out\noz"),
        [
            (hole.name, number(2 * hole.radius_m / INCH_M, 3), number(2e3 * hole.radius_m, 1),
             sixteenths(hole.depth_m / INCH_M), number(1e3 * hole.depth_m, 1),
             number(getattr(grip, f"{hole.name}_forward_in"), 3),
             number(getattr(grip, f"{hole.name}_lateral_in"), 3),
             number(drilled.hole_oz[hole.name], 2))
            for hole in drilled.face.holes
        ],
        title="Holes",
        note=f"Pitch: forward = bottom toward the grip centre, lateral = toward the {hand}.",
    )
    click.echo()
    before_high = ball.rg_in + ball.diff_in
    print_table(
        ("", "undrilled", "drilled", "change"),
        [
            (name, number(old, digits), number(new, digits), signed(new - old, digits))
            for name, old, new, digits in (
                ("weight [lb]", ball.weight_lb, drilled.mass_kg / LB_KG, 2),
                ("low RG [in]", ball.rg_in, drilled.rg_low_in, 3),
                ("intermediate RG [in]", before_high - ball.int_diff_in, drilled.rg_int_in, 3),
                ("high RG [in]", before_high, drilled.rg_high_in, 3),
                ("differential [in]", ball.diff_in, drilled.diff_in, 4),
                ("intermediate diff. [in]", ball.int_diff_in, drilled.int_diff_in, 4),
                ("low-RG axis to PAP [in]", layout.pin_to_pap_in, drilled.pin_to_pap_in, 2),
                ("high-RG axis to PAP [in]", layout.mass_bias_to_pap_in(),
                 drilled.mass_bias_to_pap_in, 2),
                ("drilling angle [deg]", layout.drilling_deg, drilled.drilling_deg, 1),
                ("top weight [oz]", drilled.before.top_oz, drilled.after.top_oz, 2),
                ("side weight [oz]", drilled.before.side_oz, drilled.after.side_oz, 2),
                ("finger weight [oz]", drilled.before.finger_oz, drilled.after.finger_oz, 2),
            )
        ],
        title="Before and after",
        note="Positive: grip half (top), ball-arm half (side), finger half (finger/thumb).",
    )
    if symmetric:
        click.echo("Symmetric core: it has no mass bias of its own; the drilled intermediate "
                   "differential and high-RG axis are the holes'.")
    click.echo()
    print_table(
        ("against the standard", "drilled", "accepted", ""),
        [
            (f"{x.name} [{x.unit}]", number(x.value, 3),
             f"{number(x.low, 2)} to {number(x.high, 2)}", "inside" if x.inside else "OUTSIDE")
            for x in drilled.limits
        ],
        left=(0, 3),
        note=f"Rule: {RULE_NOTE}.",
    )
    if drilled.shared_cm3 > 0.0:
        click.echo(f"\nCaution: holes run into each other inside the ball "
                   f"({drilled.shared_cm3:.2f} cm3 in common).")
    click.echo("\nAssumed: " + "; ".join(assumed) + ".")
    click.echo("Not in the model: what an off-centre centre of mass does to the path.")
    click.echo("\nCautions")
    for text in CAUTIONS:
        click.echo(f"  - {text}")


def _as_dict(
    ball: Ball,
    layout: Layout,
    grip: Grip,
    hand: str,
    drilled: DrilledBall,
    steps: tuple[Mark, ...],
    assumed: list[str],
    top_weight_oz: float,
) -> dict[str, Any]:
    from ..equipment.drilling import RULE_NOTE

    return {
        "ball": ball.name,
        "hand": hand,
        "layout": layout,
        "grip": grip,
        "undrilled_top_weight_oz": top_weight_oz,
        "marking": [
            {"text": s.text, "arc_in": s.arc_in,
             "arc_mm": None if s.arc_in is None else 25.4 * s.arc_in,
             "angle_deg": s.angle_deg, "check": s.check}
            for s in steps
        ],
        "drilled": {
            "mass_kg": drilled.mass_kg,
            "removed_oz": drilled.removed_oz,
            "hole_oz": drilled.hole_oz,
            "rg_low_in": drilled.rg_low_in,
            "rg_int_in": drilled.rg_int_in,
            "rg_high_in": drilled.rg_high_in,
            "diff_in": drilled.diff_in,
            "int_diff_in": drilled.int_diff_in,
            "moments_kg_m2": drilled.moments_kg_m2,
            "axes_in_core": drilled.axes,
            "pap_in_axes": drilled.pap,
            "pin_to_pap_in": drilled.pin_to_pap_in,
            "mass_bias_to_pap_in": drilled.mass_bias_to_pap_in,
            "drilling_deg": drilled.drilling_deg,
            "centre_of_mass_m": drilled.cg_m,
            "shared_cm3": drilled.shared_cm3,
        },
        "static_before": drilled.before,
        "static_after": drilled.after,
        "limits": drilled.limits,
        "rule": RULE_NOTE,
        "assumed": assumed,
        "cautions": list(CAUTIONS),
    }
