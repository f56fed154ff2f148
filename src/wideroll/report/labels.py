"""Placing labels so that they don't lie on one another."""

from collections.abc import Sequence

__all__ = ["push_apart", "stagger"]


def stagger(centres: Sequence[float], widths: Sequence[float], *, rows: int) -> tuple[int | None, ...]:
    """The row, 0 the nearest, in which each label lies free of the others; None where no row has room.

    Labels are placed in order of their centres; ``widths`` are in the same unit as ``centres``.

    Example:
        >>> stagger((1.0, 1.5, 9.0), (2.0, 2.0, 2.0), rows=2)
        (0, 1, 0)
    """
    reach = [float("-inf")] * rows
    placed: list[int | None] = [None] * len(centres)
    for index in sorted(range(len(centres)), key=lambda i: (centres[i], i)):
        left = centres[index] - widths[index] / 2.0
        for row in range(rows):
            if left >= reach[row]:
                placed[index] = row
                reach[row] = centres[index] + widths[index] / 2.0
                break
    return tuple(placed)


def push_apart(values: Sequence[float], gap: float) -> tuple[float, ...]:
    """The values moved as little as a few sweeps need so that neighbours differ by at least ``gap``; order is kept.

    Example:
        >>> push_apart((1.0, 1.0), 0.5)
        (0.75, 1.25)
    """
    order = sorted(range(len(values)), key=lambda i: (values[i], i))
    # pooled groups, each laid out evenly about the mean of its members
    groups: list[list[int]] = [[index] for index in order]
    merged = True
    while merged:
        merged = False
        for place in range(len(groups) - 1):
            lower, upper = _spread(groups[place], values, gap), _spread(groups[place + 1], values, gap)
            if upper[0] - lower[-1] < gap - 1e-12:
                groups[place : place + 2] = [groups[place] + groups[place + 1]]
                merged = True
                break
    moved = list(values)
    for group in groups:
        for index, value in zip(group, _spread(group, values, gap), strict=True):
            moved[index] = value
    return tuple(moved)


def _spread(group: Sequence[int], values: Sequence[float], gap: float) -> tuple[float, ...]:
    centre = sum(values[index] for index in group) / len(group)
    start = centre - gap * (len(group) - 1) / 2.0
    return tuple(start + gap * rank for rank in range(len(group)))
