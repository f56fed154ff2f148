"""How a plan answers when the request changes: what can't pay doesn't, and what is only said otherwise is the same."""

from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings

from wideroll.slitting import ByLength, ByMetre, plan_cut

_WIDE = settings(
    max_examples=15, deadline=None, suppress_health_check=[HealthCheck.data_too_large, HealthCheck.too_slow]
)


def _net(request, **changed):
    return plan_cut(**(request | changed)).net


def _bound(request, **changed):
    return plan_cut(**(request | changed)).bound


def _dearer(finish, times):
    """The same finish with all values times so much."""
    if isinstance(finish, ByMetre):
        return replace(finish, value_per_m=times * finish.value_per_m, second_per_m=times * finish.second_per_m)
    if isinstance(finish, ByLength):
        return ByLength(
            lengths=tuple(
                replace(one, value=times * one.value, second_value=times * one.second_value) for one in finish.lengths
            )
        )
    return replace(finish, value=times * finish.value, loss_per_splice=times * finish.loss_per_splice)


def test_doubling_all_values_doubles_the_net(mixed_requests, wide_requests):
    """Twice the values and twice the price of a minute give twice the net: only their ratios matter."""

    def check(request):
        rules = replace(request["rules"], value_per_minute=2.0 * request["rules"].value_per_minute)
        widths = [replace(width, finish=_dearer(width.finish, 2.0)) for width in request["widths"]]
        assert _net(request, rules=rules, widths=widths) == pytest.approx(2.0 * _net(request), rel=1e-9, abs=1e-9)

    settings(max_examples=60, deadline=None)(given(request=mixed_requests)(check))()
    _WIDE(given(request=wide_requests)(check))()


def test_avoiding_less_never_lowers_the_bound(mixed_requests):
    """Without one of the regions the best that any plan could net is no less, and the plan itself stays within it."""

    @settings(max_examples=80, deadline=None)
    @given(request=mixed_requests)
    def check(request):
        net = _net(request)
        for left in range(len(request["avoid"])):
            fewer = request["avoid"][:left] + request["avoid"][left + 1 :]
            assert net <= _bound(request, avoid=fewer) + 1e-9

    check()


def test_downgrading_is_never_worse_than_avoiding(mixed_requests):
    """What nets something where film is avoided lies within the bound of the web on which it is only downgraded."""

    @settings(max_examples=80, deadline=None)
    @given(request=mixed_requests)
    def check(request):
        avoided = [replace(one, downgrade=False) for one in request["avoid"]]
        downgraded = [replace(one, downgrade=True) for one in request["avoid"]]
        assert _net(request, avoid=avoided) <= _bound(request, avoid=downgraded) + 1e-9

    check()


def test_allowing_more_marks_is_never_worse(mixed_requests):
    """A higher limit on marks, or no limit, nets no less."""

    @settings(max_examples=80, deadline=None)
    @given(request=mixed_requests)
    def check(request):
        net = _net(request)
        more = [replace(limit, most=limit.most + 1) for limit in request["counts"]]
        assert net <= _net(request, counts=more) + 1e-9
        assert net <= _net(request, counts=()) + 1e-9

    check()


def test_no_limit_to_a_run_is_never_worse(mixed_requests):
    """A web that never has to be stopped nets no less, though a longer run may, as its stops fall elsewhere."""

    @settings(max_examples=80, deadline=None)
    @given(request=mixed_requests)
    def check(request):
        free = replace(request["rules"], most_run_m=float("inf"))
        assert _net(request) <= _net(request, rules=free) + 1e-9

    check()


def test_another_width_is_never_worse(mixed_requests):
    """What one width alone nets lies within the bound of both."""

    @settings(max_examples=60, deadline=None)
    @given(request=mixed_requests)
    def check(request):
        for width in request["widths"]:
            assert _net(request, widths=[width]) <= _bound(request) + 1e-9

    check()


def test_a_mirrored_web_nets_the_same(mixed_requests):
    """Seen from the other edge, with the knife scale at home on both, the web is worth the same."""

    @settings(max_examples=80, deadline=None)
    @given(request=mixed_requests)
    def check(request):
        whole = request["whole"]

        def turned(extent):
            return replace(
                extent,
                across_from_mm=whole.across_to_mm - extent.across_to_mm,
                across_to_mm=whole.across_to_mm - extent.across_from_mm,
            )

        # on a quarter-millimetre scale each place of a pack is one from either edge
        request |= {"rules": replace(request["rules"], knife_step_mm=0.25)}
        avoid = [replace(one, extent=turned(one.extent)) for one in request["avoid"]]
        counts = [replace(limit, marks=tuple(map(turned, limit.marks))) for limit in request["counts"]]
        assert _net(request, avoid=avoid, counts=counts) == pytest.approx(_net(request), abs=1e-9)

    check()


def test_the_order_of_what_is_asked_does_not_matter(mixed_requests):
    """Regions, limits and widths in another order give the same net value."""

    @settings(max_examples=60, deadline=None)
    @given(request=mixed_requests)
    def check(request):
        back = {name: request[name][::-1] for name in ("avoid", "counts", "widths")}
        assert _net(request, **back) == pytest.approx(_net(request), abs=1e-9)

    check()
