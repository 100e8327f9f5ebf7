"""One shot by itself: the pack's own functions with a single lane, for a thread of a card.

Nothing of the physics or of the method is written here a second time: `card.Translated` gives the
same functions to the card's compiler, with the rows of the pack's arrays for one lane.
"""

from __future__ import annotations

from numba import njit

from .chunk import enter_lane, finish_shot, leave_lane, start_shot
from .columns import END_FAILED
from .compiling import INNER
from .creep import creep_step
from .events import cross_cells, judge_steps
from .method import MAX_STEPS
from .rows import CREEP, OVER, OWN_END, OWN_FORCED, OWN_STEPS, ROLL
from .stages import film_stage, lie_step, roll_stage
from .steps import accept_steps, next_mode, plan_steps, set_pivots


@njit(**INNER)
def follow_shot(n, shot, pap, ball, pack, film, pins, row, traces, keep, powered, oil_end):
    """Follow shot n, alone in a pack of one lane, from the foul line to its end.

    shot (8,), pap (3,), ball (P_COUNT,); fills row (R_COUNT,) and traces[n].  As `throw_chunk`, but
    what the shot does next is asked after each of its own steps.
    """
    mode = start_shot(shot, pap, ball, pack.state, pack.kept[0], traces[n])
    enter_lane(pack, 0, 0, mode, ball, film)
    own, known, here, there, stage = pack.own, pack.known, pack.here, pack.there, pack.stage
    while True:
        if mode == ROLL:
            set_pivots(own, known, here, 1)
            film_stage(own, known, film, powered, 1)
            roll_stage(own, known, pack.rates, here, 1)
        plan_steps(pack, mode, 1)
        if mode == CREEP:
            creep_step(pack, powered, film, 1)
        else:
            lie_step(pack, mode, powered, film, 1)
        cross_cells(pack, 1)
        judge_steps(
            own, stage, known, here, there, pack.cross, pack.used, pack.error, pack.stuck,
            pack.good, pack.shot, mode, pins, traces, n, 1,
        )
        accept_steps(pack, mode, oil_end, 1)
        then = mode
        if pack.good[0] > 0.0 or own[OWN_STEPS] >= MAX_STEPS:
            then = next_mode(own, known, here, pack.used, pack.stuck, 0, mode)
        if then == OVER:
            if not (pack.good[0] > 0.0 and own[OWN_FORCED] > 0.0):
                own[OWN_END] = END_FAILED
            finish_shot(pack, 0, traces[n], keep, ball, row)
            return
        if then != mode:
            leave_lane(pack, 0)
            mode = then
            enter_lane(pack, 0, 0, mode, ball, film)
