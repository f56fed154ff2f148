"""What somebody's wish costs: a knife that must stand somewhere, a cross-cut, a width that may not be cut."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final

from wideroll.errors import ArgumentError
from wideroll.roll import Extent
from wideroll.slitting.across import NONE
from wideroll.slitting.desk import best_knife_sets, prepare_cut
from wideroll.slitting.model import Avoid, CountLimit, CrossCutAt, CutRules, KnifeAt, SlitWidth, Wish, WithoutWidth
from wideroll.slitting.request import Request

__all__ = ["WishPrice", "bars_all", "net_of", "price_wishes", "refuse_impossible", "wish_words"]

_USUAL: Final = CutRules()


@dataclass(frozen=True, slots=True, kw_only=True)
class WishPrice:
    """What wishes cost together: the net value of the best plan without and with them.

    With several wishes each is priced alone, and the last price is that of all. The plan without them also tries the
    places for setting the knives anew that the wishes bring, so a wish costs nothing or more. Only a knife
    ``off_scale`` may gain: it adds a place across that the knife scale doesn't have.
    """

    wishes: tuple[Wish, ...]
    net_without: float
    net_with: float
    off_scale: tuple[KnifeAt, ...] = ()
    """Those of the wishes that add a place where a lane may start."""

    @property
    def cost(self) -> float:
        """Net value given up."""
        return self.net_without - self.net_with


def wish_words(wish: Wish) -> str:
    """A wish in a few words.

    Example:
        >>> wish_words(KnifeAt(across_mm=612.5))
        'a knife at 612.5 mm'
    """
    if isinstance(wish, KnifeAt):
        return f"a knife at {wish.across_mm:g} mm"
    if isinstance(wish, CrossCutAt):
        return f"a cross-cut at {wish.along_m:g} m"
    return f"no lane of {wish.name}"


def price_wishes(
    whole: Extent,
    *,
    avoid: Sequence[Avoid],
    widths: Sequence[SlitWidth],
    rules: CutRules = _USUAL,
    counts: Sequence[CountLimit] = (),
    wishes: Sequence[Wish],
) -> tuple[WishPrice, ...]:
    """What each wish costs alone, and where there are several, all of them together.

    Raises:
        ArgumentError: as ``plan_cut``; a wish that makes the plan impossible is named.

    Example:
        >>> from wideroll.slitting import ByMetre
        >>> web = Extent(along_from_m=0.0, along_to_m=100.0, across_from_mm=0.0, across_to_mm=116.0)
        >>> film = SlitWidth(name="50", width_mm=50.0, tolerance_mm=0.1, finish=ByMetre(value_per_m=1.0))
        >>> (price,) = price_wishes(web, avoid=[], widths=[film], wishes=[KnifeAt(across_mm=78.0)])
        >>> price.cost
        100.0
    """
    request = Request(
        whole=whole, avoid=tuple(avoid), widths=tuple(widths), rules=rules, counts=tuple(counts), wishes=()
    )
    every = tuple(dict.fromkeys(wishes))
    groups = [(wish,) for wish in every] + ([every] if len(every) > 1 else [])
    free, prices = prepare_cut(request), []
    changes = dict.fromkeys(free.changes)
    for group in groups:
        asked = replace(request, wishes=group)
        desk = None if bars_all(asked) else prepare_cut(asked)
        net = NONE if desk is None else best_knife_sets(desk)[0]
        if desk is None or net <= NONE:
            refuse_impossible(asked)
            continue
        changes |= dict.fromkeys(desk.changes)
        off = tuple(wish for wish in group if isinstance(wish, KnifeAt) and not desk.knives.on_scale(wish.across_mm))
        prices.append(WishPrice(wishes=group, net_without=NONE, net_with=net, off_scale=off))
    without = best_knife_sets(replace(free, changes=tuple(changes)))[0]
    return tuple(replace(price, net_without=without) for price in prices)


def net_of(request: Request) -> float:
    """Net value of the best plan, NONE where no knives can be set as wished."""
    if bars_all(request):
        return NONE
    return best_knife_sets(prepare_cut(request))[0]


def refuse_impossible(request: Request, *, meant: Callable[[tuple[Wish, ...]], tuple[Wish, ...]] = tuple) -> None:
    """Say which wish makes a plan impossible: the first one with which, after those before it, there is none.

    Args:
        request: with the wishes as they were made.
        meant: what wishes are in the names that the request has for its widths.

    Raises:
        ArgumentError: naming the wish; nothing is raised where all can be met.
    """
    for count in range(1, len(request.wishes) + 1):
        some = replace(request, wishes=request.wishes[:count])
        if net_of(replace(some, wishes=meant(some.wishes))) > NONE:
            continue
        before = ", ".join(wish_words(wish) for wish in some.wishes[:-1])
        raise ArgumentError(
            where=f"wish: {wish_words(some.wishes[-1])}",
            rule="must leave a plan that is possible" + (f" together with {before}" if before else ""),
            value=wish_words(some.wishes[-1]),
            mend=_mend(some.wishes[-1]),
        )


def bars_all(request: Request) -> bool:
    """Whether the wishes leave no width at all."""
    barred = {wish.name for wish in request.wishes if isinstance(wish, WithoutWidth)}
    return {width.name for width in request.widths} <= barred


def _mend(wish: Wish) -> str:
    if isinstance(wish, KnifeAt):
        return "Move the knife: no lane that is worth anything can start or end there."
    if isinstance(wish, WithoutWidth):
        return "Leave at least one width that fits."
    return "Move the cross-cut."
