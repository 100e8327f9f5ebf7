"""What the numbers must agree with: the targets, and which of them were kept out of every choice.

The letter of each target was written down before any search: F ("fitted") targets may rule a set
of parameters out, H ("held out") ones are looked at once, at the end, and change nothing.

Status of each value: R read in the source, S second-hand, M from memory, D derived, C common
practice without a source.
"""

from __future__ import annotations

from dataclasses import dataclass

# The five fresh patterns of target 1, from little oil and short to much oil and long.
LADDER = ("short-flat-35", "medium-39", "medium-42", "heavy-42", "long-45")
LADDER_USE = {"short-flat-35": "F", "medium-39": "H", "medium-42": "F", "heavy-42": "H",
              "long-45": "F"}
HOUSE = "house-easy-41"
SPORT = ("medium-39", "medium-42", "long-45")  # ratio 3:1 or less: the tour's and a league's
# Balls from weak and shiny to strong and dull.
STRENGTH = ("plastic-spare", "weak-pearl", "polished-pearl", "medium-hybrid", "strong-solid",
            "strong-asym")
URETHANE = "urethane-control"


@dataclass(frozen=True)
class Target:
    """One observation.

    number : of the observation; low, high : what is accepted, in `unit` (the value with its error);
    published : the value in words; use : "F" or "H"; key : of our value in `believe_values`.
    """

    number: str
    key: str
    text: str
    published: str
    low: float
    high: float
    unit: str
    status: str
    use: str
    digits: int = 1

    def agrees(self, value: float) -> bool:
        """Whether our value lies inside; a missing one (NaN) does not."""
        return self.low <= value <= self.high


def _ladder() -> list[Target]:
    """Target 1. Ranks: 0 plastic, 1 weak pearl, 2 polished pearl, 3 hybrid, 4 and 5 strong sanded.

    The value is the mean rank of the balls by strikes, each weighed by exp((rate - best)/1 point):
    balls within a point of the best count nearly alike. Bounds: on the light and short pattern the
    pearls or weaker (at most the middle between pearl and hybrid), in the middle neither end, on
    the heavy and long one the strong sanded pair (at least the middle between hybrid and solid).
    """
    light, middle, heavy = (0.5, 2.5), (1.5, 4.5), (3.5, 5.0)
    bounds = dict(zip(LADDER, (light, (1.0, 3.5), middle, heavy, heavy), strict=True))
    words = {light: "the pearls", middle: "between the ends", heavy: "the strong, sanded ones"}
    rows = []
    for who in ("average", "tour"):
        for name in LADDER:
            low, high = bounds[name]
            rows.append(Target(
                "1", f"rank {who} {name}", f"best ball on {name}, {who} player (0 plastic to 5)",
                words.get(bounds[name], "pearls to hybrid"), low, high, "", "C",
                LADDER_USE[name]))
        rows.append(Target(
            "1", f"plastic {who}", f"plastic behind the best ball, least over the five, {who}",
            "never best at full racks", 1.0, 100.0, "points", "C", "F"))
        rows.append(Target(
            "1", f"crossover {who}",
            f"strong solid less weak pearl, {LADDER[-1]} less {LADDER[0]}, {who}",
            "above 0: the order turns round", 5.0, 100.0, "points", "C", "F"))
    return rows


TARGETS: tuple[Target, ...] = (
    *_ladder(),
    Target("2", "house 160", "level 160 on the easy house pattern", "160", 155, 165, "pins",
           "R (definition)", "F"),
    Target("2", "house 180", "level 180 on the easy house pattern", "180", 175, 185, "pins",
           "R (definition)", "H"),
    Target("2", "house 200", "level 200 on the easy house pattern", "200", 195, 205, "pins",
           "R (definition)", "H"),
    Target("2", "house 220", "level 220 on the easy house pattern", "220", 215, 225, "pins",
           "R (definition)", "F"),
    # The table is second-hand and of about 2010; a third of the difference either way.
    Target("3", "sport 160", "level 160, house less sport patterns", "173 - 149 = 24", 16, 32,
           "pins", "R", "H"),
    Target("3", "sport 180", "level 180, house less sport patterns", "187 - 163 = 24", 16, 32,
           "pins", "R", "F"),
    Target("3", "sport 200", "level 200, house less sport patterns", "205 - 185 = 20", 13, 27,
           "pins", "R", "H"),
    Target("4", "tour strikes", "tour player, strikes on tour patterns", "61.1 %; just under 60 %",
           58, 63, "%", "R", "F"),
    Target("4", "tour mean", "tour player, mean on tour patterns", "215", 210, 220, "pins", "R",
           "F"),
    Target("5", "easy pocket", "tour player, easy pattern: in the pocket", "54 of 66: 82 %", 72, 91,
           "%", "R", "H"),
    Target("5", "easy carry", "tour player, easy pattern: strikes of pocket hits",
           "40 of 54: 74 %", 61, 84, "%", "R", "H"),
    # Binomial errors of 7,155 first balls and 10 to 30 % left-handers among them (assumed).
    Target("6", "leave 10", "tour player: 10 pin left", "11.6 %", 10.2, 13.2, "%", "R/D", "F"),
    Target("6", "leave 7", "tour player: 7 pin left", "3.0 %", 2.0, 4.4, "%", "R/D", "F"),
    Target("6", "leave 9", "tour player: 9 pin left", "1.2 % of both hands: 1.2 to 1.6", 0.9, 1.9,
           "%", "R/D", "F"),
    Target("6", "leave 3-10", "tour player: 3-10 left", "0.5 %", 0.3, 0.7, "%", "R/D", "H", 2),
    Target("6", "leave 4-6-7-10", "tour player: 4-6-7-10 left", "0.4 %", 0.25, 0.6, "%", "R/D", "H",
           2),
    Target("6", "leave 7-10", "tour player: 7-10 left", "0.7 %", 0.5, 1.0, "%", "R/D", "H", 2),
    Target("7", "carry 17.5 at 6", "strikes at board 17.5, 6 deg", "about 85 %", 77, 93, "%", "S",
           "F"),
    Target("7", "carry nine", "of the rest there, nines", "nearly all", 80, 100, "%", "S", "F"),
    Target("7", "carry 17-18", "strikes over boards 17 to 18, 4 to 6 deg", "high", 70, 100, "%",
           "R/C", "F"),
    Target("7", "pocket width", "boards that strike more than half, 6 deg less 3 deg",
           "larger with angle", 0.1, 3.0, "boards", "R/C", "F", 2),
    Target("8", "exit flush", "board where the ball leaves, from 17.5 at 6 deg", "19", 18, 20,
           "", "R", "F"),
    Target("8", "exit steep", "board where the ball leaves, from 16.5 at 7 deg", "14", 13, 15,
           "", "R", "F"),
    Target("9", "refinish", "worn 1000 grit ball refinished: boards back", "4 to 5", 3, 6,
           "boards", "R", "F"),
    Target("9", "grit range", "500 grit to polish: boards of entry", "8 to 10", 6.5, 11.5,
           "boards", "C", "F"),
    Target("9", "speed", "1 mph: boards of entry", "about 2", 1.3, 3.0, "boards", "R/C", "H"),
    Target("9", "worn grit", "a 1000 grit finish plays to, grit", "4000 to 5000", 3500, 5500,
           "grit", "R", "H", 0),
    Target("10", "oil friction low", "smallest mean friction on the oil, reactive balls",
           "at most 0.04", 0.005, 0.04, "", "S", "F", 3),
    Target("10", "oil friction high", "largest mean friction on the oil, reactive balls",
           "at least 0.04", 0.04, 0.12, "", "S", "F", 3),
    Target("10", "dry friction low", "smallest dry friction, reactive balls", "at most 0.20", 0.12,
           0.20, "", "S", "F", 3),
    Target("10", "dry friction high", "largest dry friction, reactive balls",
           "at least 0.20, below 0.32", 0.20, 0.32, "", "S", "F", 3),
    Target("11", "machine angle", "entry of a machine-like shot, 42 to 45 ft", "5.5 to 5.9", 5.0,
           6.4, "deg", "R", "H"),
    Target("11", "tour angle", "entry of the tour player on tour patterns", "4 to 6", 4.0, 6.0,
           "deg", "R", "H"),
    Target("12", "breakpoint 39", "board at the pattern's end less (length - 31), medium-39",
           "0 +- 3", -3, 3, "boards", "C", "H"),
    Target("12", "breakpoint 42", "board at the pattern's end less (length - 31), medium-42",
           "0 +- 3", -3, 3, "boards", "C", "H"),
    Target("12", "breakpoint 45", "board at the pattern's end less (length - 31), long-45",
           "0 +- 3", -3, 3, "boards", "C", "H"),
    Target("13", "flare", "largest flare in rings of oil among the shipped balls", "at most 6 to 7",
           3.0, 7.0, "in", "C", "H"),
    Target("13", "flare pin", "pin-to-PAP of the largest flare, symmetric core", "near 3 3/8", 2.9,
           3.9, "in", "C", "H"),
    Target("14", "heads", "oil of the heads left after 13 games", "half", 35, 65, "%", "R", "H"),
    Target("14", "play line", "oil gone from the line of play after 4 games", "over 40 %", 40, 60,
           "%", "R", "F"),
    Target("16", "heavy pair", "heavy-42, tour: the strong pair over the best of the others",
           "above 0", 0.0, 100.0, "points", "C", "H"),
    Target("16", "shiny late", "heavy-42: hook of the polished ball starts later, feet", "above 0",
           0.3, 20.0, "ft", "C", "H"),
    Target("16", "old later", "300 games: hook starts later on the same line, feet", "above 0", 0.1,
           20.0, "ft", "C", "H"),
    Target("16", "old weaker", "300 games: boards less on the same line", "above 0", 0.3, 20.0,
           "boards", "C", "H"),
    Target("16", "old on dry", "300 games against new, short-flat-35, points of strikes",
           "can be better", 0.0, 100.0, "points", "C", "H"),
)
