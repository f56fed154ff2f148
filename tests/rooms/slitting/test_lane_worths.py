"""The best pieces of one lane."""

import numpy as np
from hypothesis import example, given, settings
from hypothesis import strategies as st
from lane_alone import lane_worths
from lane_oracle import Task, best_worth, check_cuts, tasks

from wideroll.slitting.lane import BY_LENGTH, BY_METRE, SPLICED
from wideroll.slitting.lane_steps import with_steps
from wideroll.slitting.lane_values import cut_lane

_KINDS = (BY_METRE, BY_LENGTH, SPLICED)


_ONE_MARK_IN_TWO_PARTS = Task(
    unit_m=1.0,
    blocked=(),
    second=(),
    marks=((0, 3, 0),),
    most=(1,),
    kind=SPLICED,
    start=0,
    ends=(3,),
    run=2,
    lengths=((3, 2, 0),),
    most_splices=1,
)


def _check(task, *, steps):
    lane, sold = task.lane(), task.sold()
    if steps:
        sold = with_steps(sold, 20 * task.unit_m)
    worths = lane_worths(lane, sold, task.start * task.unit_m, task.ends_m())
    truth = [best_worth(task, end) for end in task.ends]
    np.testing.assert_allclose(worths, truth, atol=1e-6)
    cuts = cut_lane(lane, sold, task.start * task.unit_m, float(task.ends_m()[-1]))
    check_cuts(task, cuts, task.ends[-1], truth[-1])


@settings(max_examples=300)
@given(task=tasks(BY_METRE), steps=st.booleans())
def test_film_by_the_metre_is_cut_as_by_trying_all(task, steps):
    """No cut on the grid makes more of a lane sold by the metre, at any end, and the pieces obey the rules."""
    _check(task, steps=steps)


@settings(max_examples=300)
@given(task=tasks(BY_LENGTH), steps=st.booleans())
def test_fixed_lengths_are_cut_as_by_trying_all(task, steps):
    """No cut on the grid makes more of a lane sold in fixed lengths, at any end, and the pieces obey the rules."""
    _check(task, steps=steps)


@settings(max_examples=300)
@example(task=_ONE_MARK_IN_TWO_PARTS, steps=False)
@given(task=tasks(SPLICED, most_length=12), steps=st.booleans())
def test_spliced_rolls_are_cut_as_by_trying_all(task, steps):
    """No cut on the grid makes more of a lane sold as spliced rolls, at any end, and the parts obey the rules."""
    _check(task, steps=steps)
