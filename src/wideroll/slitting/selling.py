"""How a width is sold, as plain numbers for compiled code."""

import numpy as np

from wideroll.slitting.lane import BY_LENGTH, BY_METRE, SPLICED, Selling
from wideroll.slitting.lane_steps import with_steps
from wideroll.slitting.model import ByLength, ByMetre, FinishedLength, SlitWidth
from wideroll.slitting.request import Request

__all__ = ["selling_of"]


def selling_of(width: SlitWidth, request: Request) -> Selling:
    """The finish of a width under a request's rules and count limits."""
    finish = width.finish
    most = np.array([limit.most for limit in request.counts] or [0], dtype=np.int64)
    lengths: tuple[FinishedLength, ...] = ()
    if isinstance(finish, ByLength):
        lengths = finish.lengths
    elif not isinstance(finish, ByMetre):
        lengths = (FinishedLength(length_m=finish.length_m, value=finish.value),)
    by_metre = finish if isinstance(finish, ByMetre) else ByMetre(value_per_m=0.0)
    spliced = None if isinstance(finish, ByMetre | ByLength) else finish
    sold = Selling(
        kind=BY_METRE if isinstance(finish, ByMetre) else BY_LENGTH if spliced is None else SPLICED,
        per_m=float(by_metre.value_per_m),
        second_per_m=float(by_metre.second_per_m),
        least_m=float(request.rules.least_piece_m),
        lengths_m=np.array([one.length_m for one in lengths], dtype=np.float64),
        values=np.array([one.value for one in lengths], dtype=np.float64),
        second_values=np.array([one.second_value for one in lengths], dtype=np.float64),
        most_splices=spliced.most_splices if spliced else 0,
        least_between_m=float(spliced.least_between_m) if spliced else 0.0,
        loss_per_splice=float(spliced.loss_per_splice) if spliced else 0.0,
        most=most,
        run_m=float(request.rules.run_m),
    )
    return with_steps(sold, min(sold.run_m, request.whole.length_m))
