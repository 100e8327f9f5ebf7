"""A bag plan as one HTML page: a sheet to take along, then all that is behind it.

The page needs no network and no script. Everything it says stands in the plan (`words`); nothing
is computed here. Text that came from files is escaped.
"""

from __future__ import annotations

import base64
from collections.abc import Sequence
from html import escape
from typing import TYPE_CHECKING

from . import words as w

if TYPE_CHECKING:
    from .answers import BagPlan

STYLE = """
:root { color-scheme: light dark; --ink: #1c2230; --paper: #fbfaf7; --faint: #4a5060;
        --rule: #c9c6bd; --sheet: #fff; }
@media (prefers-color-scheme: dark) {
  :root { --ink: #e9e6de; --paper: #171a21; --faint: #b3b1aa; --rule: #474b55; --sheet: #20242d; }
  img { background: #fbfaf7; border-radius: 4px; }
}
body { font: 15px/1.5 Georgia, 'DejaVu Serif', serif; color: var(--ink); background: var(--paper);
       max-width: 64em; margin: 1.5em auto; padding: 0 1.1em; }
h1 { font-size: 1.7em; line-height: 1.2; margin: 0 0 .1em; }
h2 { font-size: 1.15em; margin: 2em 0 .4em; border-bottom: 2px solid var(--ink); }
.sheet { background: var(--sheet); border: 1px solid var(--rule); padding: 1em 1.2em; }
.sheet h2 { margin-top: 1em; }
.sheet h2:first-of-type { margin-top: .6em; }
p.lead { font-size: 1.08em; }
p.made-up { border: 1.5px dashed var(--ink); padding: .3em .6em; display: inline-block; }
p.small, li.small, footer, figcaption, caption { font-size: .86em; color: var(--faint); }
caption { text-align: left; padding-bottom: .3em; }
table { border-collapse: collapse; width: 100%; font-size: .9em;
        font-variant-numeric: tabular-nums; }
th { text-align: left; vertical-align: bottom; padding: .25em .7em .25em 0; }
thead th { border-bottom: 1.5px solid var(--ink); }
td, tbody th { vertical-align: top; border-bottom: 1px solid var(--rule);
               padding: .3em .7em .3em 0; font-weight: normal; }
td.n, th.n { text-align: right; }
tr.change td, tr.change th { border-top: 2px solid var(--ink); }
figure { margin: .9em 0; overflow-x: auto; }
img { width: 100%; min-width: 36em; height: auto; display: block; }
ul { padding-left: 1.2em; }
.tick { display: inline-block; width: .8em; height: .8em; border: 1.2px solid var(--ink);
        margin-right: .5em; vertical-align: -.08em; }
.wide { overflow-x: auto; }
.wide > table { min-width: 34em; }
@page { margin: 12mm; }
@media print { :root { --ink: #000; --paper: #fff; --faint: #333; --rule: #999; --sheet: #fff; }
  body { margin: 0; max-width: none; font-size: 10.5pt; padding: 0; }
  .sheet { border: 0; padding: 0; break-after: page; }
  h2 { break-after: avoid; } table, figure { break-inside: avoid; }
  .wide, figure { overflow: visible; } .wide > table, img { min-width: 0; } }
"""

CAPTIONS = {
    "bag": "The balls of the bag, the strongest first. Without it: what the rest of the bag would "
           "lose.",
    "use": "Stage by stage. Pins per game with the 95 % that shots and pin falls leave open.",
    "cracks": "The next best bag for each ball that might crack, be lost or be refused.",
    "bags": "The best bags. Best in: of the repetitions with shots and pin falls drawn anew.",
}
SCOPES = {
    "lines": "Where to start: the balls' colours and markers are the same in all pictures here.",
    "ladder": "How far apart the balls are for this player; not what they score.",
    "gains": "Model values over the whole event, the rest of the bag as it is.",
    "pins": "Model values; compare within a column.",
}
ALT = {
    "ladder": "A dot for each ball of the bag by how many boards it hooks, the strongest on top; "
              "rings for the balls that stay at home",
    "lines": "A lane for each round with its oil, and for each stage the path of the ball to "
             "throw: where it starts, crosses the arrows and meets the pins",
    "gains": "What the bag would lose without each ball, and what other choices would bring, with "
             "the 95 % span of each as a bar",
    "pins": "A table of colours: pins per game of each ball in each stage, the ball to use boxed",
}


def bag_page(plan: BagPlan, figures: Sequence[tuple[str, bytes]]) -> str:
    """The page. figures : (a key of ALT, PNG)."""
    event = plan.event
    pictures = dict(figures)
    made_up = w.invented(plan)
    parts = [
        "<!doctype html>", '<html lang="en"><head><meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        f"<title>{escape(event.title)}: the bag</title>", f"<style>{STYLE}</style></head><body>",
        '<div class="sheet">', f"<h1>{escape(event.title)}</h1>",
        f'<p class="made-up">{escape(made_up)}</p>' if made_up else "",
        f"<p class=lead>{escape(w.headline(plan))}</p>",
        "<h2>Take these</h2>", _bullets(w.packing(plan)),
        "<h2>Throw this, from here; change then</h2>", _bullets(w.steps(plan)),
        "<h2>What could be wrong</h2>", _bullets(w.worries(plan)), "</div>",
        _picture(pictures, "lines"),
        "<h2>The bag</h2>", _table(*w.ball_table(plan), "bag"),
        *(f"<p>{escape(line)}</p>" for line in w.findings(plan)),
        _picture(pictures, "ladder"), *_old_new(plan),
        "<h2>Stage by stage</h2>",
        _table(*w.advice_table(plan), "use", marked=[a.change for a in plan.advice]),
        f"<p class=small>{escape(w.line_words(plan))}</p>",
        "<h2>What to throw first in practice</h2>",
        _bullets([w.trial_sentence(plan, t) for t in plan.trials])
        or "<p>Nothing: the bag holds one ball for first balls.</p>",
        "<h2>If a ball cannot come</h2>", _table(*w.crack_table(plan), "cracks"),
        "<h2>How sure is it?</h2>", *(f"<p>{escape(line)}</p>" for line in w.certainty(plan)),
        _table(*w.choice_table(plan), "bags"), _picture(pictures, "gains"),
        "<h2>Every ball in every stage</h2>", _picture(pictures, "pins"),
        "<h2>To take to the shop</h2>", _shop("Drill", w.drill_list(plan)),
        _shop("Finish", w.finish_list(plan)),
        "<ul>", *(f"<li class=small>{escape(text)}</li>" for text in w.CAUTIONS), "</ul>",
        f"<footer><p>{escape(_player(plan))}</p><p>{escape(w.small_print(plan))}</p></footer>",
        "</body></html>",
    ]
    return "\n".join(p for p in parts if p) + "\n"


def _player(plan: BagPlan) -> str:
    event, player = plan.event, plan.event.player
    release = event.basis.measured(player.release)
    return (f"For {player.name}: {release.speed_mph:g} mph, {release.rev_rpm:g} rpm, "
            f"{player.release.hand}-handed; spread: {player.spread_source}. {event.games} games in "
            f"{len(event.rounds)} rounds.")


def _old_new(plan: BagPlan) -> list[str]:
    if not plan.old_new:
        return []
    return ["<h2>Is the old one still good enough?</h2>",
            *(f"<p>{escape(w.old_new_sentence(plan, one))}</p>" for one in plan.old_new)]


# --- markup -------------------------------------------------------------------------------------


def _bullets(items: Sequence[str]) -> str:
    if not items:
        return ""
    return "<ul>" + "".join(f"<li>{escape(item)}</li>" for item in items) + "</ul>"


def _table(head: Sequence[str], rows: Sequence[Sequence[str]], name: str,
           marked: Sequence[bool] = ()) -> str:
    numbers = [all(_is_number(row[c]) for row in rows) for c in range(len(head))]

    def cell(c: int, text: str, *, top: bool = False) -> str:
        kind = " class=n" if numbers[c] else ""
        if top:
            return f'<th scope="col"{kind}>{escape(text)}</th>'
        if c == 0:
            return f'<th scope="row"{kind}>{escape(text)}</th>'
        return f"<td{kind}>{escape(text)}</td>"

    body = "".join(
        f"<tr{' class=change' if n < len(marked) and marked[n] else ''}>"
        + "".join(cell(c, text) for c, text in enumerate(row)) + "</tr>"
        for n, row in enumerate(rows))
    return (f'<div class=wide tabindex="0"><table id="{name}"><caption>{escape(CAPTIONS[name])}'
            f"</caption><thead><tr>{''.join(cell(c, t, top=True) for c, t in enumerate(head))}"
            f"</tr></thead><tbody>{body}</tbody></table></div>")


def _is_number(cell: str) -> bool:
    return cell[:1] in "+-0123456789" and " " not in cell.removesuffix(" %")


def _picture(pictures: dict[str, bytes], name: str) -> str:
    if name not in pictures:
        return ""
    data = base64.b64encode(pictures[name]).decode("ascii")
    return (f'<figure tabindex="0"><img id="{name}" alt="{escape(ALT[name])}" '
            f'src="data:image/png;base64,{data}"><figcaption>{escape(SCOPES[name])}</figcaption></figure>')


def _shop(title: str, items: Sequence[str]) -> str:
    if not items:
        return f"<p><b>{title}:</b> nothing.</p>"
    rows = "".join(f"<li><span class=tick></span>{escape(item)}</li>" for item in items)
    return f'<p><b>{title}:</b></p><ul id="{title.lower()}" style="list-style:none">{rows}</ul>'
