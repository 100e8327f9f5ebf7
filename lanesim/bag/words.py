"""A bag plan in the words of people who bowl: sentences, tables and lists.

Everything said here stands in the plan; nothing is computed. Shared by the command, the report and
the page.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from .answers import BagPlan, BallInBag, Crack, OldNew, Trial
    from .event import Event
    from .spare_ball import SpareBall

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


def amount(plan: BagPlan, value: float | None, signed: bool = False) -> str:
    """A value or difference of the aim with its unit; '-' for none."""
    if value is None or not math.isfinite(value):
        return "-"
    if plan.objective == "cut":
        text, unit = f"{100 * value:.1f}", " %"
    else:
        text, unit = f"{value:.2f}" if signed else f"{value:.1f}", ""
    if float(text) == 0.0:
        text = text.removeprefix("-")
    return ("+" if signed and float(text) > 0 else "") + text + unit


def much(plan: BagPlan, value: float) -> str:
    """A difference in a sentence: '1.2 pins a game' or '3.1 points of the chance'."""
    if plan.objective == "cut":
        return f"{100 * value:.1f} points of the chance"
    return f"{value:.1f} pins a game"


def goal(plan: BagPlan) -> str:
    """What was maximised, in words."""
    if plan.objective == "cut":
        return f"chance of {plan.event.cut:g} pins over {plan.event.games} games"
    return {"mean": "pins per game", "worst": "pins per game in the worst condition"}[
        plan.objective]


def headline(plan: BagPlan) -> str:
    """The answer in a sentence or two."""
    names = ", ".join(plan.best.drilled)
    text = f"Take {names}: {amount(plan, plan.best.value)} {goal(plan)}"
    if plan.objective == "cut":
        text += f", {plan.best.mean:.1f} pins per game"
    close = 1e-3 if plan.objective == "cut" else 0.01
    if plan.best.gap > close:
        text += f". Not proven: another bag might be {much(plan, plan.best.gap)} better"
    elif plan.settled:
        text += (". Proven for these values: no other bag within the limits is better by enough "
                 "to carry, drill or sand for")
    else:
        text += ". Best of what was found; too many lines are quick ones to call it proven"
    if plan.objective != "cut" and plan.cut_chance is not None:
        text += (f". Chance of {plan.event.cut:g} pins over {plan.event.games} games: "
                 f"{100 * plan.cut_chance:.0f} %")
    return text + "."


def sure(plan: BagPlan) -> str:
    """The one figure: in how many of the repetitions the bag stays best."""
    text = (f"With shots and pin falls drawn anew, this bag stays the best in {plan.still_best} of "
            f"{plan.resamples}; in {plan.near} of {plan.resamples} it is at most "
            f"{much(plan, plan.margin)} behind the best.")
    return text


# --- what to do ---------------------------------------------------------------------------------


def steps(plan: BagPlan) -> list[str]:
    """First screen: from where to throw what, and when to change, a line for each stage."""
    out = []
    for a in plan.advice:
        condition = plan.conditions[a.condition]
        lead = "change to" if a.change else "throw"
        out.append(f"{condition.label}, {lead} {a.ball}, laid down on board "
                   f"{a.laydown_board:.0f}, over board {a.arrow_board:.0f} at the arrows")
    return out


def worries(plan: BagPlan) -> list[str]:
    """What could be wrong with the plan, the most important first."""
    out = [sure(plan)]
    if not plan.settled:
        out.append("Not every line that could matter was searched thoroughly.")
    if not plan.wear.agrees:
        out.append("The oil was worn by several plans that lead to one another, averaged."
                   if plan.wear.mixed else
                   "The balls that wore the oil are not quite those of the plan.")
    worst = max(plan.advice, key=lambda a: a.missing_pins)
    if worst.missing_pins > 0.5:
        out.append(f"{plan.conditions[worst.condition].place}: {worst.missing_ball} would be "
                   f"{worst.missing_pins:.1f} pins a game better, but is not in the bag.")
    out.append("The model itself may be off; what you see in practice counts more.")
    return out


def invented(plan: BagPlan) -> str:
    """Says what of an event is made up; nothing if nothing is known to be."""
    names = plan.event.invented
    return f"Invented: {', '.join(names)}." if names else ""


def ball_table(plan: BagPlan) -> tuple[list[str], list[list[str]]]:
    """The bag, ball by ball."""
    head = ["ball", "where", "layout", "finish", "hook, boards", "games thrown",
            "without it, " + ("points" if plan.objective == "cut" else "pins a game"),
            "95 % of that"]
    rows = []
    for ball in plan.balls:
        spare = not math.isfinite(ball.strength)
        span = "-" if ball.adds_low is None else (
            f"{amount(plan, _minus(ball.adds_high), True)} to "
            f"{amount(plan, _minus(ball.adds_low), True)}")
        name = f"{ball.name} ({ball.title})" if ball.title else ball.name
        rows.append([
            name + (f", no. {ball.number}" if ball.number else ""),
            {"venue": "at the venue", "home": "travels", "new": "new, travels"}[ball.place],
            ball.layout + (" (to be drilled)" if ball.new_drilling else ""),
            finish_words(plan, ball), "-" if spare else f"{ball.strength:.1f}",
            "spares" if spare else f"{ball.games:g}",
            amount(plan, _minus(ball.adds), True), span,
        ])
    return head, rows


def _minus(value: float | None) -> float | None:
    return None if value is None else -value


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
    head = ["when", "ball", "finish", "laid down, board", "at the arrows, board", "angle, deg",
            "pins per game", "95 %", "strikes", "not in the bag but better"]
    rows = []
    for a in plan.advice:
        better = (f"{a.missing_ball}: {a.missing_pins:+.1f} pins" if a.missing_pins > 0.05
                  else "none")
        rows.append([
            plan.conditions[a.condition].label, a.ball + (" (change)" if a.change else ""),
            a.finish, f"{a.laydown_board:.1f}", f"{a.arrow_board:.1f}",
            f"{a.launch_angle_deg:+.1f}",
            f"{a.pins:.1f}" + ("" if a.thorough else " (quick line)"),
            f"{a.low:.1f} to {a.high:.1f}", f"{100 * a.strike:.0f} %", better,
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
    head = ["bag", goal(plan), "behind the best", "95 % of that", "best in"]
    rows = [[
        ", ".join(f"{b} ({d})" for b, d in c.solution.drilled.items()),
        amount(plan, c.solution.value), amount(plan, c.behind, True),
        f"{amount(plan, c.behind_low, True)} to {amount(plan, c.behind_high, True)}",
        f"{c.won} of {plan.resamples}",
    ] for c in plan.choices]
    return head, rows


def crack_table(plan: BagPlan) -> tuple[list[str], list[list[str]]]:
    """If a ball cannot come."""
    head = ["if this ball cannot come", "take", "that costs", "95 % of that"]
    rows = []
    for crack in plan.cracks:
        if crack.bag is None:
            rows.append([crack.ball, "no bag keeps the limits without it", "-", "-"])
            continue
        rows.append([crack.ball, crack_bag(crack), amount(plan, crack.costs, True),
                     f"{amount(plan, crack.low, True)} to {amount(plan, crack.high, True)}"])
    return head, rows


def crack_bag(crack: Crack) -> str:
    """The bag without a ball, what is new in it first."""
    assert crack.bag is not None
    kept = [b for b in crack.bag if not any(n.startswith(f"{b} (") for n in crack.new)]
    return "; ".join(part for part in (", ".join(crack.new), "with " + ", ".join(kept)
                                       if kept else "") if part)


# --- sentences ----------------------------------------------------------------------------------


def findings(plan: BagPlan) -> list[str]:
    """Gaps, changes, finishes, the next ball, drilling: one sentence each."""
    from .answers import ladder_gaps

    out = []
    for a, b, boards in ladder_gaps(plan):
        out.append(f"Between {a} and {b} there is a gap of {boards:.1f} boards of hook.")
    idle = [b.name for b in plan.balls if b.games == 0 and math.isfinite(b.strength)]
    if idle:
        out.append(f"In the bag because it must be, but not needed: {', '.join(idle)}.")
    worst = max(plan.advice, key=lambda a: a.missing_pins)
    if worst.missing_pins > 0.05:
        out.append(f"Most is left behind in {plan.conditions[worst.condition].place}: "
                   f"{worst.missing_ball} would be {worst.missing_pins:.1f} pins a game better.")
    else:
        out.append("In every stage the bag holds the best of all candidates.")
    changes = [a for a in plan.advice if a.change]
    for change in changes:
        condition = plan.conditions[change.condition]
        out.append(f"{condition.name}: change to {change.ball} from game "
                   f"{condition.first_game + 1}.")
    if not changes:
        out.append("No change of ball within a round.")
    out += [spare_sentence(plan, one) for one in plan.spares]
    out += [finish_sentence(plan, b) for b in plan.balls if b.finish_gain is not None]
    if not any(b.finish_gain is not None for b in plan.balls):
        out.append(f"No change of finish brings {much(plan, plan.least_gain)} or more.")
    for q in plan.comparisons:
        if not math.isfinite(q.gain):
            out.append(f"{q.question.capitalize()}: {q.detail}.")
            continue
        if q.question == "one more ball" and q.gain < plan.least_gain:
            out.append("One more ball would not bring enough to carry it "
                       f"({amount(plan, q.gain, True)} {plan.unit}).")
            continue
        verdict = "clearly better" if q.clear else "within the noise"
        out.append(f"{q.question[0].upper()}{q.question[1:]}: {amount(plan, q.gain, True)} "
                   f"{plan.unit} (95 %: {amount(plan, q.low, True)} to "
                   f"{amount(plan, q.high, True)}), {verdict}; {q.detail}.")
    return out


def spare_sentence(plan: BagPlan, one: SpareBall) -> str:
    """What a ball for spares is worth."""
    text = (f"{one.ball} for spares: worth {one.worth:+.1f} pins a game against shooting them with "
            f"{one.instead} ({100 * one.made:.0f} against {100 * one.otherwise:.0f} in a hundred "
            "come near enough to the far corner pin)")
    if one.ball in plan.best.drilled:
        return text + "."
    return text + "; it stays at home."


def finish_sentence(plan: BagPlan, ball: BallInBag) -> str:
    """What a new finish is worth."""
    return (f"{ball.name}, {finish_words(plan, ball)}: worth {much(plan, ball.finish_gain or 0.0)} "
            "against its finish as it is.")


def old_new_sentence(plan: BagPlan, one: OldNew) -> str:
    """Is the old one still good enough?"""
    parts = []
    for r in one.rounds:
        span = f"95 %: {r.strikes_low:+.1f} to {r.strikes_high:+.1f}"
        sure_of_it = r.strikes_low > 0.0 or r.strikes_high < 0.0
        parts.append(f"{r.name}: {r.strikes:+.1f} strikes in a hundred ({span})" if sure_of_it
                     else f"{r.name}: nothing sure ({r.strikes:+.1f}, {span})")
    good = one.low <= 0.0
    verdict = ("the old one is still good enough" if good and one.pins < plan.least_gain
               else "no clear call" if good
               else "too little to buy for" if one.pins < plan.least_gain else "a new one pays")
    return (f"{one.ball}, {one.games:g} games old, against the same ball new. What the new cover "
            f"is worth: {'; '.join(parts)}. In all {one.pins:+.1f} pins a game (95 %: "
            f"{one.low:+.1f} to {one.high:+.1f}), better in {one.better_in} of {plan.resamples}: "
            f"{verdict}.")


def trial_sentence(plan: BagPlan, trial: Trial) -> str:
    """What to throw first in practice."""
    name = plan.conditions[trial.condition].name
    lead = (f"{trial.gap:.1f} pins a game ahead of" if trial.gap >= 0.05 else "level with")
    return (f"{name}: {trial.ball} from board {trial.laydown_board:.0f} over "
            f"{trial.arrow_board:.0f} at the arrows. By the plan it is {lead} {trial.instead}; "
            f"if it does not hold the pocket, try {trial.instead}.")


def certainty(plan: BagPlan) -> list[str]:
    """How often the best bag stays the best, and what comes near."""
    other = plan.resamples - plan.still_best - plan.others_won
    out = [sure(plan), f"Another bag of the list is the best in {other} of {plan.resamples}, one "
           f"that is not listed in {plan.others_won}."]
    near = len(plan.choices) - 1
    ties = sum(abs(c.behind) < 0.02 for c in plan.choices[1:])
    out.append(f"{near} other bag{'' if near == 1 else 's'} within {much(plan, plan.margin)}"
               + (f", {ties} of them as good" if ties else "") + "."
               if near else f"No other bag comes within {much(plan, plan.margin)}.")
    return out


def wear_words(plan: BagPlan) -> str:
    """How the oil behind the numbers was found."""
    wear = plan.wear
    times = "once" if wear.rounds == 1 else f"{wear.rounds} times"
    if wear.agrees:
        end = "until the balls thrown were those that wore the oil"
    elif wear.mixed:
        end = "until its plans went in a circle; the mean of their lanes was taken"
    else:
        end = "without the balls thrown becoming quite those that wore the oil"
    return (f"The event was played {times} with the plan's own balls and lines, {end}. Covers have "
            f"{plan.event.finish_games:g} games of practice on them and the games of the plan.")


def line_search_words(plan: BagPlan) -> str:
    """How far the lines behind the numbers were searched, and what follows for the choice."""
    count = int(plan.judged.thorough.sum())
    text = (f"Lines were found by a quick search, and by a thorough one for {count} of the "
            f"{plan.pairs} pairs of a ball and a stage, among them all that the "
            "bags listed here throw")
    if plan.settled:
        return (text + "; no other bag would be better even if each of its quick lines were "
                f"{plan.hope_pins:g} pins a game too low. A thorough line, too, may be improved a "
                "little.")
    return (text.replace(", among them all that the bags listed here throw", "")
            + f"; not enough to rule out that a bag with lines {plan.hope_pins:g} pins a game "
            "better than the quick search found would be better.")


def small_print(plan: BagPlan) -> str:
    """Where the numbers come from and what they leave out."""
    seconds = sum(plan.seconds.values())
    return ("Computed by lanesim, a physical model with stated assumptions; its values are "
            f"{plan.event.provenance}. {plan.shots} shots on "
            f"each ball's own line in each stage (the same random numbers for all), seed "
            f"{plan.seed}; {plan.judged.shots_thrown:,} shots thrown and "
            f"{plan.judged.records_found} results taken from earlier runs in {seconds:.0f} s. "
            f"{line_search_words(plan)} {wear_words(plan)} "
            "Nothing is carried, drilled or refinished for less than "
            f"{much(plan, plan.least_gain)} each. "
            "The 95 % hold for shots and simulated pins, not for errors of the model itself. "
            "The other players are taken to be like this one, frames to be independent.")


# --- lists for the shop -------------------------------------------------------------------------


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
        if len(kinds) == 1 and plan.event.finish_changes != "between":
            rounds = {min(rounds): next(iter(kinds))}
        for p, finish in rounds.items():
            text = "polish over 2000 grit" if finish.startswith("pol") else f"sand to {finish} grit"
            out.append(f"{ball.name}: {text}, before {plan.event.rounds[p].name}")
    return out


def shop_text(plan: BagPlan) -> str:
    """Both lists and the cautions as plain text."""
    lines = [plan.event.title, *([invented(plan)] if invented(plan) else []), "", "To drill:"]
    lines += [f"  [ ] {t}" for t in drill_list(plan)] or ["  nothing"]
    lines += ["", "To finish:"]
    lines += [f"  [ ] {t}" for t in finish_list(plan)] or ["  nothing"]
    lines += ["", "Please note:", *(f"  - {t}" for t in CAUTIONS), ""]
    return "\n".join(lines)


# --- the sheet and the pictures -------------------------------------------------------------------


def packing(plan: BagPlan) -> list[str]:
    """The balls to take, with what has to be done to each."""
    out = []
    for ball in plan.balls:
        todo = []
        if ball.new_drilling:
            todo.append("have it drilled: " + ball.layout)
        if ball.new_finish:
            todo.append("finish: " + finish_words(plan, ball))
        text = ball.name + (f" (no. {ball.number})" if ball.number else "")
        text += {"venue": ", waits at the venue", "home": "", "new": ", new"}[ball.place]
        if not math.isfinite(ball.strength):
            text += ", for spares"
        out.append(text + ("; " + "; ".join(todo) if todo else ""))
    return out


def finding(plan: BagPlan, picture: str) -> str:
    """What a picture shows, in a sentence."""
    if picture == "lines":
        changes = sum(a.change for a in plan.advice)
        words = {0: "no change of ball within a round", 1: "one change of ball within a round"}
        return ("Where to start, over the fresh oil of each round: "
                + words.get(changes, f"{changes} changes of ball within a round") + ".")
    if picture == "ladder":
        hooks = [b for b in plan.balls if math.isfinite(b.strength)]
        if len(hooks) < 2:
            return "How much the ball of the bag hooks against those that stay at home."
        return (f"From {hooks[0].name} to {hooks[-1].name} the bag spans "
                f"{hooks[0].strength - hooks[-1].strength:.1f} boards of hook.")
    if picture == "gains":
        known = [b for b in plan.balls if b.adds is not None and math.isfinite(b.strength)]
        if not known:
            return "What other choices would bring against this bag."
        most = max(known, key=lambda b: b.adds or 0.0)
        return f"{most.name} is missed most: {much(plan, most.adds or 0.0)} without it."
    worst = max(plan.advice, key=lambda a: a.missing_pins)
    if worst.missing_pins > 0.5:
        return (f"Most is left behind in {plan.conditions[worst.condition].place}: "
                f"{worst.missing_pins:.1f} pins a game.")
    return "No candidate beats the ball to use by half a pin in any stage."


# --- an event as read -----------------------------------------------------------------------------


def event_lines(event: Event) -> list[str]:
    """What stands in an event file, to be looked through before hours of shots."""
    out = [f"{event.title}: {event.games} games in {len(event.rounds)} rounds, "
           f"{len(event.candidates)} balls"]
    if event.invented:
        out.append(f"invented: {', '.join(event.invented)}")
    out.append({"mean": "aim: pins per game", "worst": "aim: pins in the worst stage",
                "cut": f"aim: the chance of {event.cut or 0:g} pins in all"}[event.maximise])
    for one in event.rounds:
        stages = ", ".join(f"from game {s.first_game + 1}" for s in one.stages)
        out.append(f"round {one.name}: {one.pattern.name}, {one.games} games, weight "
                   f"{one.weight:g}; looked at {stages}")
    kinds = {"registered": "{:g} balls registered", "carried": "{:g} balls that travel",
             "drilled": "{:g} balls drilled", "bag_weight_lb": "{:g} lb of balls that travel"}
    limits = [text.format(getattr(event, name)) for name, text in kinds.items()
              if getattr(event, name) is not None]
    limits += [f"a case for {case.balls} balls" + (f" and {case.weight_lb:g} lb of them"
                                                   if case.weight_lb is not None else "")
               for case in event.cases]
    out.append(f"limits: {', '.join(limits) or 'none'}; finishes may change: "
               f"{event.finish_changes}; least gain {event.least_gain:g} pins a game")
    for ball in event.candidates:
        ways = len(ball.layouts) * len(ball.finishes)
        words = [{"venue": "at the venue", "home": "at home", "new": "new"}[ball.place]]
        words += [f"no. {ball.number}"] if ball.number else []
        words += ["must come"] if ball.required else []
        words += ["for spares only"] if ball.spares_only else [
            f"{ways} way{'' if ways == 1 else 's'} to drill and finish it"]
        out.append(f"ball {ball.name}: {ball.ball.weight_lb:g} lb, {', '.join(words)}")
    return out
