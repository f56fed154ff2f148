"""A raster screened in shares against the same raster in one go."""

import pickle
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from wideroll.errors import ArgumentError
from wideroll.scan import LinePlaces, LostLines, MarkFinder, ScanSettings
from wideroll.scan.chips import ChipBook
from wideroll.scan.frame import make_frame
from wideroll.scan.overview import join_rows
from wideroll.scan.screening import Carry, Desk, screen_block
from wideroll.scan.shares import join_shares, plan_shares, same_border, screen_share

PITCH = (0.4, 0.25)
BLOCK = 64
USE = ScanSettings(
    find_edges=False,
    block_m=BLOCK * PITCH[0] / 1000.0,
    overview_cell_mm=8 * PITCH[0],
    streak_least_m=0.15,
    chips_per_kind=3,
)


class Reader:
    """A raster in memory, read from any line on in pieces of a height; some lines can't be read."""

    def __init__(self, image, *, lost=(), height=50):
        self.image, self.lost, self.height = image, sorted(lost), height

    def __call__(self, first=0, stop=None):
        """Its lines from ``first`` up to but without ``stop``."""
        line, end = first, len(self.image) if stop is None else stop
        for low, high in [*self.lost, (end, end)]:
            while line < min(low, end):
                piece = self.image[line : min(line + self.height, low, end)]
                yield piece
                line += len(piece)
            if max(low, line) < min(high, end):
                yield LostLines(lines=min(high, end) - line, why=f"lost from {low}")
                line = min(high, end)


def facts(image, use):
    """What a finder is told of a raster."""
    places = LinePlaces(lines=(0.0, 100.0, 9000.0), metres=(0.0, 0.05, 4.0))
    return image.shape[1], PITCH, image.dtype, use, places


def in_one_go(image, use, read, chips_of=()):
    """Result, and the overview's rows as they came."""
    finder, rows = MarkFinder(*facts(image, use), chips_of=chips_of), []
    finder.take_overview()
    for piece in read():
        if isinstance(piece, LostLines):
            finder.lose(piece)
        else:
            finder.feed(piece)
        rows += filter(None, [finder.take_overview()])
    result = finder.finish()
    return result, join_rows([*rows, *filter(None, [finder.take_overview()])])


def in_shares(image, use, read, count, *, known=None, chips_of=()):
    """The same in shares that were sent to another process and back; and which shares were screened again."""
    frame, again, rest, rows = make_frame(*facts(image, use)), [], [], []
    shares = plan_shares(len(image), frame, count, read.lost if known is None else known)

    def sent(share, before=None):
        pieces = read(share.reads_from if before is None else share.first, share.stop)
        found = screen_share(pieces, share, frame, chips_of=chips_of, before=before)
        return pickle.loads(pickle.dumps(found))  # noqa: S301  -- made here

    def once_more(share, before):
        again.append(shares.index(share))
        return sent(share, before)

    def go_on(line):
        rest.append(line)
        return read(line)

    finder = MarkFinder(*facts(image, use), chips_of=chips_of)
    result = join_shares(map(sent, shares), finder, again=once_more, rest=go_on, seen=rows.append)
    return (result, join_rows(rows)), again, rest


def plain(value):
    """All of a result as text and bytes."""
    if isinstance(value, np.ndarray):
        return value.dtype.str, value.shape, value.tobytes()
    if hasattr(value, "write_json"):
        return value.schema, [[repr(v) for v in row] for row in value.rows()]
    if hasattr(value, "__dataclass_fields__"):
        return {name: plain(getattr(value, name)) for name in value.__dataclass_fields__}
    return [plain(v) for v in value] if isinstance(value, tuple) else repr(value)


def web(weave, lines=1000, columns=130, seed=1, **options):
    """With dirt everywhere and on the blocks' borders."""
    made = weave(lines, columns, seed=seed, sigma=2.5, **options)
    rng = np.random.Generator(np.random.PCG64(seed))
    for k in range(lines // 12):
        i, j, h, w = rng.integers((0, 4, 2, 2), (lines, columns - 12, 9, 9))
        i = int(i) // BLOCK * BLOCK - 3 if k % 3 == 0 else int(i)
        made[max(i, 0) : i + h, j : j + w] *= 1.0 + rng.uniform(-0.5, 0.5)
    return made


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    seed=st.integers(0, 10_000),
    lines=st.integers(20, 900),
    count=st.integers(1, 20),
    height=st.integers(1, 400),
    scratches=st.lists(st.tuples(st.integers(0, 800), st.integers(60, 700), st.integers(20, 60)), max_size=2),
    still=st.none() | st.tuples(st.integers(0, 800), st.integers(1, 300)),
    lost=st.lists(st.tuples(st.integers(0, 800), st.integers(1, 150)), max_size=2),
    wander=st.floats(0.0, 6.0),
    dtype=st.sampled_from([np.uint8, np.uint16]),
)
def test_any_number_of_shares_gives_what_one_go_gives(
    weave, grey, frame_web, seed, lines, count, height, scratches, still, lost, wander, dtype
):
    """Marks, streaks, coverage, overview and crops are the same to the bit, whatever lies across a share's border."""
    scale = 1.0 if dtype is np.uint8 else 97.0
    made = web(weave, lines, seed=seed)
    for top, long, column in scratches:
        # It wanders, so that it is no part of a block's background.
        for line in range(top, min(top + long, lines)):
            at = column + (line - top) // 8 % 100
            made[line, at : at + 3] *= 0.5
    move = wander * np.sin(np.arange(lines) / 150.0)
    made = frame_web(made, left=16.0 + move, right=118.0 + move)
    if still and still[0] < lines:
        made[still[0] : sum(still)] = made[still[0]]
    image = grey(made * scale, dtype)
    read = Reader(image, lost=cut_apart(lost, lines), height=height)
    use = replace(USE, find_edges=wander > 1.0, edge_bead_mm=1.0)
    assert plain(in_shares(image, use, read, count)[0]) == plain(in_one_go(image, use, read))


def cut_apart(lost, lines):
    """Stretches (from, to) that lie apart from each other and leave some lines."""
    found = []
    for first, long in sorted(lost):
        low, high = max(first, found[-1][1] + 1 if found else 0), min(first + long, lines)
        if low < high and high - low < lines - 16:
            found.append((low, high))
    return found[:1] if sum(high - low for low, high in found) >= lines else found


def test_a_clean_start_is_known_from_the_block_before(weave, grey):
    """Where nothing long lies across a border, no share is screened twice."""
    image = grey(web(weave, lines=1600))
    use = replace(USE, block_m=2 * USE.block_m)
    found, again, rest = in_shares(image, use, Reader(image), 5)
    assert (again, rest) == ([], [])
    assert found[0].marks.height > 50


def test_a_scratch_longer_than_a_block_has_its_shares_screened_again(weave, grey):
    """Only the shares in which the scratch was going on already are screened again, and it is one mark."""
    made = weave(1600, 300)
    made[330:900, 100:103] *= 0.5
    # It wanders, so that it is no part of a block's background.
    for k in range(330, 900):
        made[k] = np.roll(made[k], k // 6)
    image, read = grey(made), Reader(grey(made))
    found, again, _ = in_shares(image, USE, read, 8)
    plan = plan_shares(len(image), make_frame(*facts(image, USE)), 8)
    within = {n for n, share in enumerate(plan) if 330 + 2 * BLOCK < share.first < 900}
    near = {n for n, share in enumerate(plan) if 330 < share.first < 900 + 2 * BLOCK}
    assert within
    assert within <= set(again) <= near
    assert plain(found) == plain(in_one_go(image, USE, read))
    assert found[0].marks["length_mm"].max() > 550 * PITCH[0]


@pytest.mark.parametrize("first", [100, 449, 513, 530, 800])
def test_lost_lines_that_nobody_announced_give_the_same_result(weave, grey, first):
    """The blocks after them lie elsewhere, so all from the share before them is screened in one go."""
    image = grey(web(weave))
    read = Reader(image, lost=[(first, first + 70)])
    found, _, rest = in_shares(image, USE, read, 7, known=[])
    plan = plan_shares(len(image), make_frame(*facts(image, USE)), 7)
    starts = [share.first for share in plan]
    reached = max(n for n, share in enumerate(plan) if share.first <= first)
    assert rest == [starts[max(reached - 1, 0)]] or rest == [starts[reached]]
    assert plain(found) == plain(in_one_go(image, USE, read))


def test_lines_announced_as_lost_may_be_read_after_all(weave, grey):
    """A file that was mended since it was opened gives what it holds now."""
    image = grey(web(weave))
    found, _, rest = in_shares(image, USE, Reader(image), 4, known=[(600, 640)])
    assert len(rest) == 1
    assert plain(found) == plain(in_one_go(image, USE, Reader(image)))


def test_crops_are_the_most_severe_of_all_shares_and_those_asked_for(weave, grey):
    """However the worst marks are spread over the shares, the same crops are kept as in one go."""
    image = grey(web(weave, seed=5))
    faint = in_one_go(image, USE, Reader(image))[0].marks.sort("snr")["id"].to_list()[:2]
    expected = in_one_go(image, USE, Reader(image), chips_of=faint)[0].chips
    assert set(faint) < {chip.mark for chip in expected}
    for count in (2, 5, 15):
        found = in_shares(image, USE, Reader(image), count, chips_of=faint)[0][0]
        assert [plain(chip) for chip in found.chips] == [plain(chip) for chip in expected]


def test_a_plan_covers_each_line_once_in_order():
    """Shares follow one another, begin a block early, and never begin it with lost lines."""
    frame = make_frame(100, PITCH, np.uint8, USE)
    for count in range(1, 40):
        shares = plan_shares(2000, frame, count, [(700, 900), (850, 1000), (64, 65)])
        assert [share.first for share in shares] == [0, *(share.stop for share in shares[:-1])]
        assert shares[-1].stop == 2000
        assert len(shares) <= count
        assert not any(share.spans[0].lost for share in shares)
        assert all(share.warm >= 1 for share in shares[1:])


def test_borders_differ_by_any_part_of_them(weave, grey):
    """A bit of the held lines, the edges, a mark that goes on or the map is a difference."""
    image = grey(web(weave, lines=640))
    frame = make_frame(*facts(image, USE))
    share = plan_shares(len(image), frame, 2)[0]
    end = screen_share(Reader(image)(0, share.stop), share, frame).end
    assert len(end.taken)
    assert same_border(end, pickle.loads(pickle.dumps(end)))  # noqa: S301  -- made here
    held = end.carry.held
    rows = held.tail.rows.copy()
    rows[-1, -1] ^= 1
    others = [
        replace(end, line=end.line + 1),
        replace(end, taken=end.taken ^ 1),
        replace(end, carry=replace(end.carry, held=None)),
        replace(end, carry=replace(end.carry, edges=replace(end.carry.edges, doubted=1))),
        replace(end, carry=replace(end.carry, held=replace(held, tail=held.tail._replace(rows=rows)))),
        replace(end, carry=replace(end.carry, held=replace(held, tail=held.tail._replace(left=-0.0)))),
    ]
    assert not any(same_border(end, other) for other in others)


def test_the_map_of_marks_holds_what_the_held_lines_need_and_no_more(weave, grey):
    """What a mark leaves behind in the map would hide another one many blocks later, and is known at no border."""
    made = weave(1500, 400, seed=3)
    rng = np.random.Generator(np.random.PCG64(4))
    for _ in range(150):
        i, j, h, w = rng.integers((0, 4, 3, 3), (1490, 380, 10, 10))
        made[i : i + h, j : j + w] *= 1.0 + rng.choice([-0.04, 0.04])
    image, use = grey(made), replace(USE, block_m=4 * USE.block_m)
    frame = make_frame(*facts(image, use))
    desk = Desk(taken=np.zeros((900, 400), np.uint8), chips=ChipBook(asked=frozenset()))
    carry, marks = Carry(), 0
    for line in range(0, 1280, frame.block_lines):
        report, _, carry = screen_block(image[line : line + frame.block_lines], line, carry, (desk, frame), last=False)
        marks += len(report.measures)
        beside = desk.taken.copy()
        for top, end, low, high in carry.held.written.tolist():
            beside[top:end, low:high] = 0
        assert not beside.any()
    assert marks > 50


def test_impossible_plans_and_pieces_are_refused(weave, grey):
    """No lines, no shares, losses outside of the raster and rows that end early each name what is wrong."""
    image = grey(weave(300, 130))
    frame = make_frame(*facts(image, USE))
    with pytest.raises(ArgumentError, match="lines: must be at least 1"):
        plan_shares(0, frame, 2)
    with pytest.raises(ArgumentError, match="count: must be at least 1"):
        plan_shares(10, frame, 0)
    with pytest.raises(ArgumentError, match="lost: must lie within 0 to 10"):
        plan_shares(10, frame, 1, [(5, 11)])
    share = plan_shares(300, frame, 1)[0]
    with pytest.raises(ArgumentError, match="pieces: must hold all lines"):
        screen_share([image[:299]], share, frame)
    with pytest.raises(ArgumentError, match="columns"):
        screen_share([image[:, :99]], share, frame)
