"""A bag plan as one HTML page: tables, pictures inside it, nothing fetched from anywhere.

The page needs no network and no script. Everything it says stands in the plan; nothing is
computed here. Text that came from files is escaped.
"""

from __future__ import annotations

import base64
import math
from collections.abc import Sequence
from html import escape
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from .plan import BagPlan

CAUTIONS = (
    "Have holes measured and drilled by a certified fitter, on your hand as it is today. Plugging "
    "and drilling anew can crack a ball or be refused by its maker.",
    "After drilling and after every change of surface, check the ball against the current rules of "
    "your governing body and of this event (static balance, holes, hardness, surface, what may be "
    "changed and when). Rules change; this page does not know them.",
    "Sanding makes fine dust. Sand wet or with extraction, wear a respirator and eye protection, "
    "keep the dust and used compounds out of drains, and follow local codes for dust, solvents and "
    "machines.",
    "A ball weighs 14 to 16 lb and a full bag 50 lb or more: lift with your legs, use wheels, and "
    "secure balls in a car. Ask your carrier for its present weight limits.",
)

STYLE = """
:root { color-scheme: light; }
body { font: 15px/1.5 Georgia, 'DejaVu Serif', serif; color: #1c2230; background: #fbfaf7;
       max-width: 62em; margin: 2em auto; padding: 0 1.2em; }
h1 { font-size: 1.7em; margin: 0 0 .1em; }
h2 { font-size: 1.15em; margin: 2em 0 .4em; border-bottom: 2px solid #1c2230; }
p.lead { font-size: 1.08em; }
p.small, li.small, footer { font-size: .86em; color: #4a5060; }
table { border-collapse: collapse; width: 100%; font-size: .9em;
        font-variant-numeric: tabular-nums; }
th { text-align: left; vertical-align: bottom; border-bottom: 1.5px solid #1c2230;
     padding: .25em .6em .25em 0; }
td { vertical-align: top; border-bottom: 1px solid #c9c6bd; padding: .3em .6em .3em 0; }
td.n, th.n { text-align: right; }
tr.change td { border-top: 2px solid #1c2230; }
img { width: 100%; height: auto; display: block; margin: .8em 0; }
ul { padding-left: 1.2em; }
.tick { display: inline-block; width: .8em; height: .8em; border: 1.2px solid #1c2230;
        margin-right: .5em; vertical-align: -.08em; }
.wide { overflow-x: auto; }
@media print { body { margin: 0; background: #fff; } h2 { break-after: avoid; }
  table, img { break-inside: avoid; } }
"""


def bag_page(plan: BagPlan, figures: Sequence[tuple[str, bytes]]) -> str:
    """The page. figures : (a key of ALT, PNG)."""
    event, player = plan.event, plan.event.player
    release = event.basis.measured(player.release)
    pictures = dict(figures)
    parts = [
        "<!doctype html>", '<html lang="en"><head><meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        f"<title>{escape(event.title)}: the bag</title>", f"<style>{STYLE}</style></head><body>",
        f"<h1>{escape(event.title)}</h1>",
        f"<p class=small>For {escape(player.name)}: {release.speed_mph:g} mph, "
        f"{release.rev_rpm:g} rpm, {escape(player.release.hand)}-handed; spread: "
        f"{escape(player.spread_source)}. {event.games} games in {len(event.rounds)} rounds.</p>",
        f"<p class=lead>{escape(headline(plan))}</p>",
        "<h2>The bag</h2>", _table(*ball_table(plan), "bag"),
        *(f"<p>{escape(line)}</p>" for line in findings(plan)),
        _picture(pictures, "ladder"),
        "<h2>What to throw, where to start, when to change</h2>",
        _table(*advice_table(plan), "use", marked=[a.change for a in plan.advice]),
        f"<p class=small>{escape(line_words(plan))}</p>",
        _picture(pictures, "lines"),
        "<h2>How sure is it?</h2>",
        *(f"<p>{escape(line)}</p>" for line in certainty(plan)),
        _table(*choice_table(plan), "bags"), _picture(pictures, "gains"),
        "<h2>Every ball in every condition</h2>", _picture(pictures, "pins"),
        "<h2>To take to the shop</h2>", _shop("Drill", drill_list(plan)),
        _shop("Finish", finish_list(plan)),
        "<ul>", *(f"<li class=small>{escape(text)}</li>" for text in CAUTIONS), "</ul>",
        f"<footer><p>{escape(small_print(plan))}</p></footer>", "</body></html>",
    ]
    return "\n".join(p for p in parts if p) + "\n"


# --- words and tables (shared with the command) --------------------------------------------------


def amount(plan: BagPlan, value: float | None, signed: bool = False) -> str:
    """A value or difference of the objective with its unit."""
    if value is None or not math.isfinite(value):
        return "-"
    if plan.objective == "cut":
        text, unit = f"{100 * value:.1f}", " %"
    else:
        text, unit = f"{value:.2f}" if signed else f"{value:.1f}", ""
    if float(text) == 0.0:
        text = text.removeprefix("-")
    return ("+" if signed and float(text) > 0 else "") + text + unit


def goal(plan: BagPlan) -> str:
    """What was maximised, in words."""
    if plan.objective == "cut":
        return f"chance of {plan.event.cut:g} pins over {plan.event.games} games"
    return {"mean": "pins per game", "worst": "pins per game in the worst condition"}[
        plan.objective]


def headline(plan: BagPlan) -> str:
    """The answer in a sentence or two."""
    names = ", ".join(plan.best.drilled)
    text = (f"Take {names}: {amount(plan, plan.best.value)} {goal(plan)}"
            if plan.objective != "cut" else
            f"Take {names}: {amount(plan, plan.best.value)} {goal(plan)}, "
            f"{plan.best.mean:.1f} pins per game")
    text += (". Proven: no other bag within the limits is better by the model's numbers"
             if plan.best.gap < 1e-5 else
             f". Not proven: another bag might be up to {amount(plan, plan.best.gap, True)} better")
    if plan.objective != "cut" and plan.cut_chance is not None:
        text += (f". Chance of {plan.event.cut:g} pins over {plan.event.games} games: "
                 f"{100 * plan.cut_chance:.0f} %")
    return text + "."


def ball_table(plan: BagPlan) -> tuple[list[str], list[list[str]]]:
    """The bag, ball by ball."""
    head = ["ball", "where", "layout", "finish", "hook, boards", "games", "adds", "95 %",
            "next best finish costs"]
    rows = []
    for ball in plan.balls:
        spare = not math.isfinite(ball.strength)
        interval = "-" if ball.adds_low is None or spare else (
            f"{amount(plan, ball.adds_low, True)} to {amount(plan, ball.adds_high, True)}")
        rows.append([
            f"{ball.name} ({ball.title})" if ball.title else ball.name,
            {"venue": "at the venue", "home": "travels", "new": "new, travels"}[ball.place],
            ball.layout + (" (to be drilled)" if ball.new_drilling else ""),
            finish_words(plan, ball), "-" if spare else f"{ball.strength:.1f}",
            "spares" if spare else f"{ball.games:g}",
            "-" if spare else amount(plan, ball.adds, True), interval,
            amount(plan, ball.next_finish_costs, True),
        ])
    return head, rows


def finish_words(plan: BagPlan, ball: Any) -> str:
    """A ball's finish, or what it is in each round."""
    def one(finish: str) -> str:
        if finish != "as is":
            return finish if not finish[0].isdigit() else f"{finish} grit"
        candidate = next(c for c in plan.event.candidates if c.name == ball.name)
        return f"as is ({candidate.ball.cover.finish})"

    kinds = list(dict.fromkeys(ball.finishes.values()))
    if len(kinds) == 1:
        return one(kinds[0])
    return "; ".join(f"{plan.event.rounds[p].name}: {one(f)}" for p, f in ball.finishes.items())


def advice_table(plan: BagPlan) -> tuple[list[str], list[list[str]]]:
    """Condition by condition: ball and line."""
    head = ["when", "ball", "finish", "laydown", "arrows", "launch, deg", "pins per game", "95 %",
            "strikes", "hole"]
    rows = []
    for a in plan.advice:
        condition = plan.conditions[a.condition]
        hole = f"{a.hole_pins:.1f} behind {a.hole_ball}" if a.hole_pins > 0.05 else "none"
        rows.append([
            condition.label, a.ball + (" (change)" if a.change else ""), a.finish,
            f"{a.laydown_board:.1f}", f"{a.arrow_board:.1f}", f"{a.launch_angle_deg:+.1f}",
            f"{a.pins:.1f}", f"{a.low:.1f} to {a.high:.1f}", f"{100 * a.strike:.0f} %", hole,
        ])
    return head, rows


def line_words(plan: BagPlan) -> str:
    """What the boards and angles of a line mean."""
    text = ("Laydown and arrows are boards as the player counts them, for the middle of the ball. "
            "A line is where to start; adjust to what the lane shows.")
    offsets = plan.event.basis.offsets
    names = {"laydown_board": ("laydown", "boards"), "launch_angle_deg": ("launch angle", "deg")}
    parts = [f"{word} {offsets[key]:+.2f} {unit}" for key, (word, unit) in names.items()
             if offsets.get(key)]
    if parts:
        text += (" Lines are given as the player's own measuring reads them; by the fit the true "
                 f"ones differ from that by: {', '.join(parts)} (drawn paths are true ones).")
    return text


def choice_table(plan: BagPlan) -> tuple[list[str], list[list[str]]]:
    """The best bags."""
    head = ["bag", goal(plan), "behind", "95 %", "best in"]
    rows = [[
        ", ".join(f"{b} {d}" for b, d in c.solution.drilled.items()),
        amount(plan, c.solution.value), amount(plan, c.behind, True),
        f"{amount(plan, c.behind_low, True)} to {amount(plan, c.behind_high, True)}",
        f"{100 * c.won:.0f} %",
    ] for c in plan.choices]
    return head, rows


def findings(plan: BagPlan) -> list[str]:
    """Holes, gaps, changes, the next ball, drilling: one sentence each."""
    from .plan import ladder_gaps

    out = []
    for a, b, boards in ladder_gaps(plan):
        out.append(f"Gap in the ladder: {boards:.1f} boards between {a} and {b}.")
    idle = [b.name for b in plan.balls if b.games == 0 and math.isfinite(b.strength)]
    if idle:
        out.append(f"In the bag because it must be, but not needed: {', '.join(idle)}.")
    worst = max(plan.advice, key=lambda a: a.hole_pins)
    if worst.hole_pins > 0.05:
        out.append(f"Largest hole: {plan.conditions[worst.condition].label}, "
                   f"{worst.hole_pins:.1f} pins per game behind {worst.hole_ball}.")
    else:
        out.append("No hole: in every condition the bag holds the best of all candidates.")
    changes = [a for a in plan.advice if a.change]
    for a in changes:
        condition = plan.conditions[a.condition]
        out.append(f"{condition.name}: change to {a.ball} from game {condition.first_game + 1}.")
    if not changes:
        out.append("No change of ball within a round.")
    for q in plan.comparisons:
        if not math.isfinite(q.gain):
            out.append(f"{q.question.capitalize()}: {q.detail}.")
            continue
        verdict = "more than the noise" if q.clear else "not more than the noise"
        out.append(f"{q.question[0].upper()}{q.question[1:]}: {amount(plan, q.gain, True)} "
                   f"(95 %: {amount(plan, q.low, True)} to {amount(plan, q.high, True)}), "
                   f"{verdict}; {q.detail}.")
    return out


def certainty(plan: BagPlan) -> list[str]:
    """How often the best bag stays the best."""
    out = [f"On {plan.resamples} resamples of the shots and of the carry table this bag is still "
           f"the best in {100 * plan.stability:.0f} %, another one of the list in "
           f"{100 * (1 - plan.stability - plan.other_share):.0f} %, one that is not listed in "
           f"{100 * plan.other_share:.0f} % (often one of these with another ball added); in "
           f"{100 * plan.near_share:.0f} % it is at most "
           f"{amount(plan, plan.margin, True).removeprefix('+')} behind the best."]
    near = len(plan.choices) - 1
    ties = sum(c.behind == 0.0 for c in plan.choices[1:])
    out.append(f"{near} other bag{'' if near == 1 else 's'} within "
               f"{amount(plan, plan.margin, True).removeprefix('+')}"
               + (f", {ties} of them exactly as good" if ties else "") + "."
               if near else "No other bag comes within "
               f"{amount(plan, plan.margin, True).removeprefix('+')}.")
    return out


def drill_list(plan: BagPlan) -> list[str]:
    """What to have drilled."""
    out = []
    for ball in plan.balls:
        if ball.new_drilling:
            candidate = next(c for c in plan.event.candidates if c.name == ball.name)
            how = "a new ball" if ball.place == "new" else "plug and drill anew"
            out.append(f"{ball.name} ({candidate.ball.weight_lb:g} lb): {how}; {ball.layout}")
    return out


def finish_list(plan: BagPlan) -> list[str]:
    """What to have sanded or polished, and when."""
    out = []
    for ball in plan.balls:
        rounds = {p: f for p, f in ball.finishes.items() if f != "as is"}
        if not rounds:
            continue
        kinds = set(ball.finishes.values())
        if len(kinds) == 1:
            finish = next(iter(kinds))
            text = "polish over 2000 grit" if finish.startswith("pol") else f"sand to {finish} grit"
            out.append(f"{ball.name}: {text}, before the first round")
            continue
        for p, finish in rounds.items():
            text = "polish over 2000 grit" if finish.startswith("pol") else f"sand to {finish} grit"
            out.append(f"{ball.name}: {text}, before {plan.event.rounds[p].name}")
    return out


def shop_text(plan: BagPlan) -> str:
    """Both lists and the cautions as plain text."""
    lines = [plan.event.title, "", "To drill:"]
    lines += [f"  [ ] {t}" for t in drill_list(plan)] or ["  nothing"]
    lines += ["", "To finish:"]
    lines += [f"  [ ] {t}" for t in finish_list(plan)] or ["  nothing"]
    lines += ["", "Please note:", *(f"  - {t}" for t in CAUTIONS), ""]
    return "\n".join(lines)


def line_search_words(plan: BagPlan) -> str:
    """How far the lines behind the numbers were searched, and what follows for the choice."""
    from .plan import HOPE

    count = int(plan.judged.thorough.sum())
    text = (f"Lines were found by a quick search, and by a thorough one for {count} of the "
            f"{plan.pairs} pairs of a ball and a condition, among them all that the "
            "bags listed here throw")
    if plan.settled:
        return (text + "; no other bag would be better even if each of its quick lines were "
                f"{HOPE:g} pins a game too low. A thorough line, too, may be improved a little.")
    return (text.replace(", among them all that the bags listed here throw", "")
            + f"; not enough to rule out that a bag with lines {HOPE:g} pins a game better than "
            "the quick search found would be better.")


def small_print(plan: BagPlan) -> str:
    """Where the numbers come from and what they leave out."""
    seconds = sum(plan.seconds.values())
    return ("Computed by lanesim, a physical model with stated assumptions; its values are "
            f"{plan.event.provenance}. {plan.shots} shots on "
            f"each ball's own line in each condition (the same random numbers for all), seed "
            f"{plan.seed}; {plan.judged.shots_thrown:,} shots thrown and "
            f"{plan.judged.records_found} results taken from earlier runs in {seconds:.0f} s. "
            f"{line_search_words(plan)} "
            "Intervals hold for shots and simulated pins, not for errors of the model itself. "
            "The other players are taken to be like this one, the lane to change the same whatever "
            f"is thrown, every finish to have {plan.event.finish_games:g} games on it, frames to "
            "be independent.")


# --- markup -------------------------------------------------------------------------------------


def _table(head: Sequence[str], rows: Sequence[Sequence[str]], name: str,
           marked: Sequence[bool] = ()) -> str:
    numbers = [all(_is_number(row[c]) for row in rows) for c in range(len(head))]

    def cells(tag: str, row: Sequence[str]) -> str:
        return "".join(f"<{tag}{' class=n' if n else ''}>{escape(cell)}</{tag}>"
                       for cell, n in zip(row, numbers, strict=True))

    body = "".join(
        f"<tr{' class=change' if n < len(marked) and marked[n] else ''}>{cells('td', row)}</tr>"
        for n, row in enumerate(rows))
    return (f'<div class=wide><table id="{name}"><thead><tr>{cells("th", head)}</tr></thead>'
            f"<tbody>{body}</tbody></table></div>")


def _is_number(cell: str) -> bool:
    return cell[:1] in "+-0123456789" and " " not in cell.removesuffix(" %")


def _picture(pictures: dict[str, bytes], name: str) -> str:
    if name not in pictures:
        return ""
    data = base64.b64encode(pictures[name]).decode("ascii")
    return f'<img id="{name}" alt="{escape(ALT[name])}" src="data:image/png;base64,{data}">'


ALT = {
    "ladder": "The balls of the bag by how much they hook",
    "lines": "The lines to start on, over the oil of each round",
    "gains": "What each ball adds and what other bags would, with intervals",
    "pins": "Pins per game of each ball in each condition",
}


def _shop(title: str, items: Sequence[str]) -> str:
    if not items:
        return f"<p><b>{title}:</b> nothing.</p>"
    rows = "".join(f"<li><span class=tick></span>{escape(item)}</li>" for item in items)
    return f'<p><b>{title}:</b></p><ul id="{title.lower()}" style="list-style:none">{rows}</ul>'
