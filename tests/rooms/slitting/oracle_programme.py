"""The slitter's rules as a mixed-integer programme for HiGHS: knife sets and lanes are 0-or-1 columns.

Pieces are columns between 0 and 1: once the lanes are fixed, they are intervals of which no two may overlap, and such a
programme has a whole solution among its best.

It shares nothing with the planner nor with the bench that tries everything. Widths are sold by the metre or by length;
all places are whole metres along, and multiples of ``unit_mm`` across.
"""

import itertools
import math

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array

from wideroll.slitting import ByLength, ByMetre

__all__ = ["best_net"]


class _Columns:
    """Columns with their gain, and rows over them with bounds."""

    def __init__(self):
        self.gain, self.whole, self.rows = [], [], []

    def add(self, gain, *, whole=True):
        self.gain.append(float(gain))
        self.whole.append(whole)
        return len(self.gain) - 1

    def hold(self, pairs, low, high):
        if pairs:
            self.rows.append((pairs, low, high))

    def solve(self):
        entries = [(row, column, what) for row, (pairs, _, _) in enumerate(self.rows) for column, what in pairs]
        where, which, what = zip(*entries, strict=True)
        matrix = coo_array((what, (where, which)), shape=(len(self.rows), len(self.gain))).tocsr()
        limits = LinearConstraint(matrix, [low for _, low, _ in self.rows], [high for _, _, high in self.rows])
        at_once = {"presolve": False}  # programmes as small as these are solved before they are made smaller
        solved = milp(
            -np.array(self.gain),
            constraints=limits,
            integrality=self.whole,
            bounds=Bounds(0, 1),
            options=at_once,
        )
        if solved.status != 0:
            raise RuntimeError(solved.message)
        return -float(solved.fun)


def _price(finish, length, second):
    if isinstance(finish, ByMetre):
        return length * (finish.second_per_m if second else finish.value_per_m)
    assert isinstance(finish, ByLength)
    return max(
        (one.second_value if second else one.value for one in finish.lengths if one.length_m == length), default=0.0
    )


def _meets(extent, low, high):
    return extent.across_from_mm < high and extent.across_to_mm > low


def _pieces(asked, width, lane, head, tail):
    """Pieces of a lane between two coated metres: (from, to, value)."""
    rules = asked["rules"]
    regions = [one for one in asked["avoid"] if _meets(one.extent, *lane) and one.extent.area_m2 > 0]
    limits = [([m for m in one.marks if _meets(m, *lane)], one.most) for one in asked.get("counts", ())]
    for a, b in itertools.combinations(range(head, tail + 1), 2):
        if isinstance(width.finish, ByMetre) and b - a < rules.least_piece_m:
            continue
        if (tail - a - 1) // rules.run_m != (tail - b) // rules.run_m:
            continue
        met = [one for one in regions if one.extent.along_from_m < b and one.extent.along_to_m > a]
        if not all(one.downgrade for one in met):
            continue
        if any(sum(m.along_from_m < b and m.along_to_m > a for m in marks) > most for marks, most in limits):
            continue
        value = _price(width.finish, b - a, bool(met))
        if value > 0:
            yield a, b, value


def _lay(programme, asked, span, taken, unit_mm):
    """The lanes and pieces of one knife set, whose column is ``taken``."""
    whole, rules = asked["whole"], asked["rules"]
    low, high = whole.across_from_mm + rules.edge_trim_mm, whole.across_to_mm - rules.edge_trim_mm
    lanes = []
    for cell, width in itertools.product(range(math.floor((high - low) / unit_mm) + 1), asked["widths"]):
        lane = low + cell * unit_mm, low + cell * unit_mm + width.width_mm
        pieces = list(_pieces(asked, width, lane, *span)) if lane[1] <= high else []
        if not pieces:
            continue
        laid = programme.add(0.0)
        columns = [(programme.add(value, whole=False), a, b) for a, b, value in pieces]
        for metre in sorted({a for a, _, _ in pieces}):  # of pieces that overlap, one begins in all the others
            over = [(column, 1.0) for column, a, b in columns if a <= metre < b]
            programme.hold(over and [*over, (laid, -1.0)], -np.inf, 0.0)
        programme.hold([(laid, 1.0), *((column, -1.0) for column, _, _ in columns)], -np.inf, 0.0)
        lanes.append((laid, cell, cell + round((width.width_mm + rules.trim_between_mm) / unit_mm)))
    _leave_no_slivers(programme, asked, lanes, unit_mm)
    for cell in range(round((high - low) / unit_mm) + 1):
        over = [(laid, 1.0) for laid, a, b in lanes if a <= cell < b]
        programme.hold(over and [*over, (taken, -1.0)], -np.inf, 0.0)
    for laid, cell, _ in lanes:
        if cell % round(rules.knife_step_mm / unit_mm):
            before = [(other, -1.0) for other, _, b in lanes if b == cell]
            programme.hold([(laid, 1.0), *before], -np.inf, 0.0)


def _leave_no_slivers(programme, asked, lanes, unit_mm):
    """Of two lanes with too narrow a strip between them one isn't laid, or one lies between; so at the edges."""
    rules, whole = asked["rules"], asked["whole"]
    cells = [round(mm / unit_mm) for mm in (rules.least_strip_mm, rules.trim_between_mm, rules.edge_trim_mm)]
    strip, between, trim = cells
    usable = round(whole.width_mm / unit_mm) - 2 * trim
    for laid, first, beyond in lanes:
        end = beyond - between
        for other, start, _ in lanes:
            if between < start - end < strip:
                inside = [(one, -1.0) for one, a, b in lanes if a >= beyond and b <= start]
                programme.hold([(laid, 1.0), (other, 1.0), *inside], -np.inf, 1.0)
        if 0 < first < strip - trim:
            programme.hold([(laid, 1.0), *((one, -1.0) for one, _, b in lanes if b <= first)], -np.inf, 0.0)
        if 0 < usable - end < strip - trim:
            programme.hold([(laid, 1.0), *((one, -1.0) for one, a, _ in lanes if a >= beyond)], -np.inf, 0.0)


def best_net(asked, changes, *, unit_mm):
    """Greatest net value of a request with the knives set anew at some of ``changes`` (coated: head to, tail from)."""
    whole, rules, programme = asked["whole"], asked["rules"], _Columns()
    heads = [int(whole.along_from_m), *(int(tail) for _, tail in changes)]
    tails = [*(int(head) for head, _ in changes), int(whole.along_to_m)]
    leaving = {node: [] for node in range(len(heads) + 1)}
    first, any_wound = programme.add(rules.setup_minutes * rules.value_per_minute), []
    for i, j in itertools.combinations_with_replacement(range(len(heads)), 2):
        length = tails[j] - heads[i]
        if length <= 0:
            continue
        stops = math.ceil(length / rules.run_m) - 1 if math.isfinite(rules.run_m) else 0
        taken = programme.add(0.0)
        wound = programme.add(-(rules.setup_minutes + stops * rules.stop_minutes) * rules.value_per_minute)
        any_wound.append((wound, -1.0))
        programme.hold([(wound, 1.0), (taken, -1.0)], -np.inf, 0.0)
        leaving[i].append((taken, 1.0))
        leaving[j + 1].append((taken, -1.0))
        _lay(programme, asked, (heads[i], tails[j]), wound, unit_mm)
    programme.hold([(first, 1.0), *any_wound], -np.inf, 0.0)
    for node, pairs in leaving.items():
        need = 1.0 if node == 0 else -1.0 if node == len(heads) else 0.0
        programme.hold(pairs, need, need)
    return programme.solve()
