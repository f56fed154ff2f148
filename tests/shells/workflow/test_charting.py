"""From a history to charts: what suits a quantity, what is refused, and what a base period changes."""

from functools import partial

import numpy as np
import pytest

from wideroll.control import NotedEvent, RollValue, cusum_chart, ewma_chart, history_table, xbar_chart
from wideroll.errors import InputError
from wideroll.release.model import Consequence, Criterion, Measurand
from wideroll.workflow.base_period import BasePeriodSaid, freeze_base
from wideroll.workflow.charting import ChartTerms, chart_quantity, find_quantity, history_quantities
from wideroll.workflow.control_model import ChartKind, Steadiness
from wideroll.workflow.control_overview import control_overview
from wideroll.workflow.line_events import LineEvent, events_between

_ROLLS = 30


def _values(*, last=0.0, unit="mm"):
    """Curl, speed of two records with strips, and spots, of thirty rolls; the last may be off."""
    chance = np.random.Generator(np.random.PCG64(8))
    for n in range(_ROLLS):
        of = partial(RollValue, roll=f"W-{n:02d}", product="N5", line="1", coated=f"2026-11-{n + 1:02d}", batch="E-1")
        yield of(quantity="curl", value=chance.normal(7.0, 0.3) + last * (n == _ROLLS - 1), unit=unit if n else "mm")
        for record in ("green", "red"):
            strips = chance.normal(0.0, 0.01, 3).tolist()
            speed = partial(of, quantity="speed", record=record, unit="log H")
            yield speed(value=float(np.mean(strips)))
            yield from (speed(part=f"S-{k}", value=strip) for k, strip in enumerate(strips))
        yield of(quantity="Spots", unit="marks", value=float(chance.poisson(40)), area_m2=20.0)


def _chart(what, rows=None, **how):
    history = history_table(list(_values()) if rows is None else rows).lazy()
    return chart_quantity(history, find_quantity(history_quantities(history), what), terms=ChartTerms(**how))


@pytest.mark.parametrize(
    ("what", "kind", "panels"),
    [
        ("curl", None, ["curl", "moving range"]),
        ("speed", None, ["red", "green", "together (T²)"]),
        ("spots", None, ["Spots"]),
        ("Spots", ChartKind.C, ["Spots"]),
        ("speed", ChartKind.XBAR, ["mean, red", "range, red", "mean, green", "range, green"]),
        ("speed", ChartKind.EWMA, ["red", "green"]),
        ("Spots", ChartKind.INDIVIDUALS, ["Spots", "moving range"]),
    ],
)
def test_each_quantity_has_its_chart(what, kind, panels):
    """The usual chart suits the quantity, another is drawn when asked for, and 20 of 30 rolls set the limits."""
    view = _chart(what, kind=kind)
    assert [panel.name for panel in view.panels] == panels
    assert (len(view.rolls), view.base) == (_ROLLS, (0, 19))
    assert "first 20 " in view.limits_set_by


def test_charts_are_the_rooms_own():
    """What is charted is what the control room makes of the same numbers."""
    curls = [value.value for value in _values() if value.quantity == "curl"]
    assert _chart("curl", kind=ChartKind.CUSUM).panels[0].chart == cusum_chart(curls, baseline=20)
    assert _chart("curl", kind=ChartKind.EWMA).panels[0].chart == ewma_chart(curls, baseline=20)
    red = [
        [v.value for v in _values() if (v.roll, v.record, bool(v.part)) == (f"W-{n:02d}", "red", True)]
        for n in range(_ROLLS)
    ]
    assert _chart("speed", kind=ChartKind.XBAR).panels[0].chart == xbar_chart(red, baseline=20)


@pytest.mark.parametrize(
    ("what", "how", "words"),
    [
        ("sped", {}, "one of: Spots, curl, speed"),
        ("curl", {"kind": ChartKind.U}, "for counts"),
        ("curl", {"kind": ChartKind.RECORDS}, "no records"),
        ("curl", {"kind": ChartKind.XBAR}, "two strips or places"),
        ("Spots", {"kind": ChartKind.XBAR}, "counted once a roll"),
    ],
)
def test_what_does_not_suit_is_refused(what, how, words):
    """The refusal says why, and what there is."""
    with pytest.raises(InputError, match=words):
        _chart(what, **how)


def test_too_few_rolls_and_mixed_units_are_refused():
    """Nine rolls set no limits, and millimetres aren't charted with inches."""
    with pytest.raises(InputError, match="10 rolls or more, got 9"):
        _chart("curl", rows=[value for value in _values() if value.roll < "W-09"])
    with pytest.raises(ValueError, match="one unit"):
        _chart("curl", rows=list(_values(unit="in")))


def test_a_base_period_keeps_its_limits():
    """Limits are those of its rolls whatever comes later; what it lacks is refused by name."""
    said = BasePeriodSaid(
        name="spring",
        first_day="2026-11-01",
        last_day="2026-11-12",
        who="R",
        when_utc="2026-12-01T00:00:00Z",
        because="x",
    )
    early = [value for value in _values() if value.roll < "W-12"]
    base = freeze_base(history_table(early).lazy(), said)
    steady, off = (_chart("curl", rows=list(_values(last=last)), base=base) for last in (0.0, 9.0))
    assert steady.panels[0].chart.limits == off.panels[0].chart.limits
    assert (off.base, off.panels[0].chart.breaks[-1].index) == ((0, 11), _ROLLS - 1)
    for what in ("speed", "Spots"):
        assert _chart(what, base=base).limits_set_by.count("spring (W-00 to W-11, 12 rolls)") == 1
    with pytest.raises(InputError, match="10 rolls or more"):
        freeze_base(history_table(early[:40]).lazy(), said)
    other = [value for value in early if value.quantity != "curl"]
    with pytest.raises(InputError, match="must hold curl"):
        _chart("curl", base=freeze_base(history_table(other).lazy(), said))


def test_the_worst_comes_first():
    """A quantity beyond its limit stands before those that are steady, and what has no chart says why."""
    lone = RollValue(roll="W-00", product="N5", line="1", coated="2026-11-01", quantity="bow", value=1.0)
    lines = control_overview(history_table([*_values(last=9.0), lone]).lazy(), lambda *_: None)
    assert (lines[0].quantity, lines[0].state, lines[0].roll) == ("curl", Steadiness.BEYOND, "W-29")
    assert (lines[-1].quantity, lines[-1].state) == ("bow", Steadiness.NO_CHART)
    assert "10 rolls or more" in lines[-1].why


def test_capability_has_the_products_limits():
    """A criterion on the reading that is charted says between which limits it may lie."""
    limit = Criterion(
        name="Speed",
        measurand=Measurand.READING,
        subject="speed deviation",
        limit=0.06,
        unit="log H",
        consequence=Consequence.HOLD,
    )
    history = history_table(_values()).lazy()
    quantity = find_quantity(history_quantities(history), "speed")
    view = chart_quantity(history, quantity, terms=ChartTerms(), criteria=[limit])
    assert [(one.record, one.capability.low, one.capability.high) for one in view.capable] == [
        ("red", -0.06, 0.06),
        ("green", -0.06, 0.06),
    ]


def test_events_stand_before_the_roll_they_came_before():
    """A batch that wasn't in the roll before is a change of batch; what lies outside the series is left out."""
    coated = ("2026-11-10T00:00", "2026-11-11T07:40", "2026-11-12T06:20")
    noted = [LineEvent(on=on, kind="cleaning", name=on) for on in ("2026-11-01", "2026-11-11", "2026-11-12T07:00")]
    assert events_between(coated, ("E-1", "E-1, E-2", "E-2, E-3"), noted) == (
        NotedEvent(before=1, kind="batch", name="E-2"),
        NotedEvent(before=2, kind="batch", name="E-3"),
        NotedEvent(before=1, kind="cleaning", name="2026-11-11"),
    )
