"""Pictures of a bag: pins by ball and condition, the ladder, what each ball adds, the lines."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from ..bag import words as w
from .looks import Look, looks
from .style import (
    FAINT,
    INK,
    PAPER,
    heat_colormap,
    house_style,
    line_halo,
    new_figure,
    oil_colormap,
)

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from ..bag.answers import BagPlan


STAGES = ("-", "--", ":", "-.")  # the stages of a round, in turn


def _look(plan: BagPlan, ball: str) -> Look:
    """A ball's look among the candidates: the same in every picture of the bag."""
    names = [c.name for c in plan.event.candidates]
    return looks(names)[names.index(ball)]


def _mark(plan: BagPlan, ball: str) -> dict[str, Any]:
    look = _look(plan, ball)
    return {"color": look.color, "marker": look.marker}


def _made_up(plan: BagPlan) -> str:
    text = w.invented(plan)
    return f" {text}" if text else ""


@house_style
def draw_pins(plan: BagPlan) -> Figure:
    """Pins per game: the balls of the bag and the best left at home, in every condition."""
    rows: list[tuple[str, int, bool]] = []
    in_bag = set(plan.best.drilled)
    for v in sorted({int(v) for v in plan.best.use}, key=lambda v: -plan.strength[v]):
        rows.append((_use_text(plan, v), v, True))
    for name in dict.fromkeys(u.variant.ball for u in plan.uses):
        mine = [v for v, u in enumerate(plan.uses)
                if u.variant.ball == name and not u.spares_only]
        if not mine or any(int(v) in mine for v in plan.best.use):
            continue
        weights = np.array([c.weight for c in plan.conditions])
        best = max(mine, key=lambda v: float(plan.judged.pins[v] @ weights))
        text = _use_text(plan, best) + ("" if name in in_bag else ", stays at home")
        rows.append((text, best, False))
    values = np.array([plan.judged.pins[v] for _, v, _ in rows])
    figure = new_figure(
        max(8.0, 3.6 + 1.05 * len(plan.conditions)), 1.9 + 0.42 * len(rows),
        w.finding(plan, "pins").rstrip("."),
        subtitle="pins per game; boxed: the ball to use; below the line: not needed",
        note="~ on a quickly found line, which may be better." + _made_up(plan),
    )
    axes = figure.add_subplot()
    span = max(float(np.ptp(values)), 1.0)
    # only the pale part of the scale: the numbers must be readable on it
    axes.imshow(values, aspect="auto", cmap=heat_colormap(), vmin=values.min() - 0.1 * span,
                vmax=values.max() + 2.2 * span)
    for i, (_, v, _) in enumerate(rows):
        for c, value in enumerate(plan.judged.pins[v]):
            quick = "" if plan.judged.thorough[v, c] else "~"
            axes.text(c, i, f"{quick}{value:.1f}", ha="center", va="center", fontsize=9, color=INK)
    used = [_use_text(plan, int(v)) for v in plan.best.use]
    for c, text in enumerate(used):
        i = next(n for n, r in enumerate(rows) if r[0] == text)
        axes.add_patch(_box(c, i))
    chosen = sum(r[2] for r in rows)
    if chosen < len(rows):
        axes.axhline(chosen - 0.5, color=INK, linewidth=1.2)
    axes.set_yticks(range(len(rows)), [r[0] for r in rows])
    axes.set_xticks(range(len(plan.conditions)), [
        f"{c.name}\n{c.games_text}" for c in plan.conditions])
    axes.xaxis.tick_top()
    axes.grid(False)
    axes.tick_params(length=0)
    for spine in axes.spines.values():
        spine.set_visible(False)
    return figure


def _box(c: int, i: int) -> Any:
    from matplotlib.patches import Rectangle

    return Rectangle((c - 0.47, i - 0.44), 0.94, 0.88, fill=False, edgecolor=INK, linewidth=1.8)


def _use_text(plan: BagPlan, v: int) -> str:
    variant = plan.uses[v].variant
    return f"{variant.ball}, {variant.layout}, {_finish_text(plan, v)}"


def _finish_text(plan: BagPlan, v: int) -> str:
    variant = plan.uses[v].variant
    cover = plan.uses[v].ball.cover
    return f"{cover.finish} as is" if variant.finish == "as is" else cover.finish


@house_style
def draw_ladder(plan: BagPlan) -> Figure:
    """The bag from strongest to weakest: boards hooked on the player's own line."""
    balls = [b for b in plan.balls if np.isfinite(b.strength)]
    figure = new_figure(
        8.0, 1.6 + 0.48 * len(balls), w.finding(plan, "ladder").rstrip("."),
        subtitle="boards hooked on one line, the player's usual one, mean of the rounds' fresh "
                 "lanes; the strongest on top",
        note="Rings: candidates that stay at home, drilled and finished as suits them best."
             + _made_up(plan),
    )
    axes = figure.add_subplot()
    for n, ball in enumerate(balls):
        axes.plot([0, ball.strength], [n, n], color=FAINT, linewidth=1.2)
        axes.plot(ball.strength, n, markersize=9, **_mark(plan, ball.name))
        axes.annotate(f"{ball.strength:.1f}", (ball.strength, n), xytext=(9, 0),
                      textcoords="offset points", va="center", fontsize=9)
    weights = np.array([c.weight for c in plan.conditions])
    home = []
    for name in dict.fromkeys(u.variant.ball for u in plan.uses):
        if name in plan.best.drilled:
            continue
        mine = [v for v, u in enumerate(plan.uses) if u.variant.ball == name
                and not u.spares_only]
        if mine:
            best = max(mine, key=lambda v: float(plan.judged.pins[v] @ weights))
            home.append((name, float(plan.strength[best])))
    row = len(balls)
    for _, strength in home:
        axes.plot(strength, row, marker="o", markersize=8, markerfacecolor=PAPER,
                  markeredgecolor=INK, linestyle="none")
    labels = [b.name for b in balls]
    if home:
        labels.append("at home")
        for k, (name, strength) in enumerate(sorted(home, key=lambda h: h[1])):
            axes.annotate(name, (strength, row), xytext=(0, -10 if k % 2 else 8),
                          textcoords="offset points", ha="center",
                          va="top" if k % 2 else "bottom", fontsize=8, color=FAINT)
    axes.set_yticks(range(len(labels)), labels)
    axes.set_ylim(len(labels) - 0.35, -0.6)
    everything = [b.strength for b in balls] + [s for _, s in home]
    low, high = min(everything), max(everything)
    axes.set_xlim(max(0.0, low - 0.25 * (high - low) - 1.0), high + 0.12 * (high - low) + 0.8)
    axes.set_xlabel("hook at 57 ft [boards]")
    axes.grid(axis="y", visible=False)
    return figure


@house_style
def draw_gains(plan: BagPlan) -> Figure:
    """What the bag would lose without each ball, and what other choices would bring."""
    scale, unit = (100.0, "percentage points") if plan.objective == "cut" else (
        1.0, "pins per game")
    rows: list[tuple[str, float, float, float, str]] = []
    for ball in plan.balls:
        if ball.adds is not None and np.isfinite(ball.strength):
            assert ball.adds_low is not None and ball.adds_high is not None
            rows.append((f"{ball.name} along, not at home", ball.adds, ball.adds_low,
                         ball.adds_high, _mark(plan, ball.name)["marker"]))
    for question in plan.comparisons:
        if np.isfinite(question.gain):
            rows.append((question.question, question.gain, question.low, question.high, "s"))
    for choice in plan.choices[1:]:
        rows.append(("instead: " + _other_words(plan, choice), -choice.behind,
                     -choice.behind_high, -choice.behind_low, "D"))
    figure = new_figure(
        8.6, 1.5 + 0.34 * max(len(rows), 1), w.finding(plan, "gains").rstrip("."),
        subtitle="what the bag would lose without each ball; squares: other choices; diamonds: the "
                 "next best bags against the best",
        note=f"Bars: 95 % of {plan.resamples} repetitions with shots and pin falls drawn anew."
             + _made_up(plan),
    )
    axes = figure.add_subplot()
    for n, (_, value, low, high, marker) in enumerate(rows):
        axes.plot([scale * low, scale * high], [n, n], color=INK, linewidth=1.6)
        axes.plot(scale * value, n, marker=marker, color=INK, markersize=6.5,
                  markeredgecolor=PAPER)
    axes.axvline(0.0, color=FAINT, linewidth=1.0)
    axes.set_yticks(range(len(rows)), [r[0] for r in rows])
    axes.set_ylim(len(rows) - 0.4, -0.6)
    axes.set_xlabel(f"difference [{unit}]")
    axes.grid(axis="y", visible=False)
    return figure


def _other_words(plan: BagPlan, choice: Any) -> str:
    """What is different in another bag: '+hybrid (drill 45 deg, ...), -veteran'."""
    best, other = plan.best.drilled, choice.solution.drilled
    new = [f"+{b} ({d})" for b, d in other.items() if best.get(b) != d]
    gone = [f"-{b}" for b in best if b not in other]
    return ", ".join(new + gone) or "the same"


@house_style
def draw_lines(plan: BagPlan) -> Figure:
    """The lines to start on: a lane for each round, a path for each stage."""
    rounds = plan.event.rounds
    figure = new_figure(
        9.4, 1.3 + 2.35 * len(rounds), w.finding(plan, "lines").rstrip("."),
        subtitle="usual shots over the fresh oil of each round; boards as the player counts them"
                 + (" (drawn: true boards; named: as the player reads them)"
                    if plan.event.basis.offsets else ""),
        note="Stroke at 15 ft: the board at the arrows. The lane is stretched across: 39 boards "
             "against 60 ft." + _made_up(plan),
    )
    hand = plan.event.player.release.hand
    grid = figure.subplots(len(rounds), 1, squeeze=False)[:, 0]
    for n, (axes, one) in enumerate(zip(grid, rounds, strict=True)):
        film = one.pattern.film_m(hand) * 1e6
        axes.imshow(film.T, origin="lower", extent=(0, 60, 0.5, 39.5), aspect="auto",
                    cmap=oil_colormap(), interpolation="nearest")
        mine = [a for a in plan.advice if plan.conditions[a.condition].round == n]
        for k, advice in enumerate(mine):
            path = plan.paths[advice.condition]
            style: dict[str, Any] = {"color": _look(plan, advice.ball).color,
                                     "linestyle": STAGES[k % len(STAGES)]}
            axes.plot(np.arange(61), path, **style, path_effects=line_halo(1.8),
                      label=f"{plan.conditions[advice.condition].games_text}: {advice.ball}, "
                            f"from {advice.laydown_board:.0f} over "
                            f"{advice.arrow_board:.0f}")
            mark = _mark(plan, advice.ball)
            axes.plot(0, path[0], markeredgecolor=PAPER, markersize=8, clip_on=False, zorder=5,
                      **mark)
            axes.plot(15, np.interp(15, np.arange(61), path), color=mark["color"], marker="|",
                      markersize=13, markeredgewidth=2.2, zorder=5)
        axes.set_xlim(0, 60.0)
        axes.set_ylim(0.5, 39.5)
        axes.set_yticks([5, 10, 15, 20, 25, 30, 35])
        axes.set_title(f"{one.name} ({one.pattern.name})")
        axes.set_ylabel("board")
        axes.grid(False)
        axes.legend(loc="upper right", bbox_to_anchor=(1.0, 1.0))
    grid[-1].set_xlabel("distance from the foul line [ft]")
    return figure
