"""Rates from several looks, clusters, classes and regions."""

import math

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import chi2

from wideroll.errors import ArgumentError
from wideroll.roll import MARKS_SCHEMA, Coverage, Extent, Lane, Unseen, empty_marks
from wideroll.sampling import (
    Detected,
    Look,
    RegionBasis,
    RegionLook,
    class_rates,
    clustered_limits,
    combine_looks,
    measure_dispersion,
    rate_limits,
    region_rates,
)

WEB = Extent(along_from_m=0.0, along_to_m=100.0, across_from_mm=0.0, across_to_mm=1000.0)


def look(count, area, p=1.0, half=0.0):
    """A look with a probability of detection."""
    return Look(source="s", count=count, area_m2=area, detected=Detected(value=p, low=p - half, high=p + half))


@given(st.lists(st.tuples(st.integers(0, 60), st.floats(0.5, 200), st.floats(0.2, 1.0)), min_size=1, max_size=4))
def test_known_probabilities_give_garwoods_limits(looks):
    """With each p known, the combined limits are Garwood's of the sum over the sum of area times p."""
    found = combine_looks([look(*one) for one in looks])
    plain = rate_limits(sum(k for k, _, _ in looks), math.fsum(a * p for _, a, p in looks))
    assert (found.low, found.rate, found.high) == pytest.approx((plain.low, plain.rate, plain.high), rel=1e-9)


@settings(deadline=None, max_examples=20)
@given(count=st.integers(0, 300), area=st.floats(1, 100), p=st.floats(0.3, 0.9))
def test_hardly_uncertain_is_hardly_different(count, area, p):
    """The averaged likelihood goes over into Garwood's limits as the uncertainty goes to nothing."""
    found, plain = combine_looks([look(count, area, p, 1e-5)]), rate_limits(count, area * p)
    assert found.low == pytest.approx(plain.low, rel=2e-3)
    assert found.high == pytest.approx(plain.high, rel=2e-3)


@settings(deadline=None, max_examples=20)
@given(count=st.integers(0, 100), p=st.floats(0.4, 0.8), half=st.floats(0.02, 0.15))
def test_uncertain_detection_widens(count, p, half):
    """Not knowing p well gives wider limits than knowing it, on both sides."""
    sure, unsure = combine_looks([look(count, 10.0, p)]), combine_looks([look(count, 10.0, p, half)])
    assert unsure.high > sure.high * 0.999
    assert unsure.low <= sure.low * 1.001


def test_nothing_is_known_where_detection_may_be_nothing():
    """A probability of detection that may be 0 bounds the rate from below only."""
    found = combine_looks([Look(source="s", count=3, area_m2=1.0, detected=Detected(value=0.3, low=0.0, high=0.6))])
    assert found.high == math.inf
    assert found.low == pytest.approx(rate_limits(3, 0.6).low)


@pytest.mark.parametrize("count", [1_000, 100_000])
def test_many_marks_are_weighed_as_finely_as_few(count):
    """With very many marks limits and agreement are still those of theory (oracle: likelihood ratio of two counts)."""
    found, plain = combine_looks([look(count, 10.0, 0.8, 1e-7)]), rate_limits(count, 8.0)
    assert (found.low, found.high) == pytest.approx((plain.low, plain.high), rel=2e-3 * math.sqrt(1000 / count))
    more = round(count + 2.0 * math.sqrt(2.0 * count))
    mean = (count + more) / 2.0
    ratio = 2.0 * (count * math.log(count / mean) + more * math.log(more / mean))
    assert combine_looks([look(count, 10.0), look(more, 10.0)]).p_agree == pytest.approx(chi2.sf(ratio, 1), rel=0.02)


def test_looks_that_contradict_are_told():
    """Rates that differ tenfold have a small probability of agreeing, equal ones a large."""
    assert combine_looks([look(10, 100.0), look(30, 10.0)]).p_agree < 1e-6
    assert combine_looks([look(10, 100.0), look(1, 10.0)]).p_agree > 0.9
    assert math.isnan(combine_looks([look(10, 100.0)]).p_agree)


def test_limits_hold_the_truth_with_measured_detection():
    """With p measured on 40 marks, 95 % limits hold the true rate in at least 93 % of 300 rolls."""
    rng = np.random.Generator(np.random.PCG64(5))
    held = 0
    from wideroll.sampling import share_limits  # noqa: PLC0415

    for _ in range(300):
        hits = int(rng.binomial(40, 0.8))
        low, high = share_limits(hits, 40)
        count = int(rng.poisson(8.0))
        one = Look(source="s", count=count, area_m2=10.0, detected=Detected(value=hits / 40, low=low, high=high))
        found = combine_looks([one])
        held += found.low <= 1.0 <= found.high
    assert held >= 279


@given(st.lists(st.integers(20, 60), min_size=3, max_size=20))
def test_dispersion_is_chi_square(counts):
    """For large counts the test is the chi-square of equal expectation (oracle: scipy)."""
    found = measure_dispersion(counts, [2.0] * len(counts))
    mean = np.mean(counts)
    stat = float(((np.array(counts) - mean) ** 2).sum() / mean)
    assert found.chi_square == pytest.approx(stat, abs=1e-9)
    assert found.p_clustered == pytest.approx(chi2.sf(stat, len(counts) - 1), abs=1e-9)


def test_dispersion_keeps_its_level():
    """Independent marks are called clustered at 5 % in about 5 % of 400 rolls, clustered ones far more often."""
    rng = np.random.Generator(np.random.PCG64(2))
    plain = sum(measure_dispersion(rng.poisson(1.5, 12).tolist(), [0.4] * 12).p_clustered <= 0.05 for _ in range(400))
    assert 4 <= plain <= 34
    heaped = [rng.negative_binomial(0.4, 0.2, 12).tolist() for _ in range(100)]
    assert sum(measure_dispersion(k, [0.4] * 12).p_clustered <= 0.05 for k in heaped if sum(k)) > 70


@settings(deadline=None, max_examples=30)
@given(st.lists(st.integers(0, 12), min_size=2, max_size=15))
def test_clustered_limits_are_never_narrower(counts):
    """Limits that allow for clusters hold Garwood's within them."""
    areas = [0.5] * len(counts)
    plain, wide = rate_limits(sum(counts), sum(areas)), clustered_limits(counts, areas)
    assert wide.low <= plain.low
    assert wide.high >= plain.high


def test_clustered_limits_hold_the_truth():
    """Of 150 rolls with clusters of three, limits for clusters hold the rate in 93 %, Garwood's in far fewer."""
    rng = np.random.Generator(np.random.PCG64(3))
    held = plain = 0
    for _ in range(150):
        counts = [int(rng.geometric(1 / 3, rng.poisson(4.0 / 3)).sum()) for _ in range(15)]
        wide, narrow = clustered_limits(counts, [0.4] * 15), rate_limits(sum(counts), 6.0)
        held += wide.low <= 10.0 <= wide.high
        plain += narrow.low <= 10.0 <= narrow.high
    assert held >= 140
    assert plain < 125


def test_a_region_nobody_looked_at_is_known_less():
    """An unseen region has wider limits than all seen together; with fewer than three seen it isn't known at all."""
    seen = [RegionLook(extent=WEB, count=k, looked_m2=5.0) for k in (2, 3, 1, 2)]
    *_, unseen = region_rates([*seen, RegionLook(extent=WEB, count=0, looked_m2=0.0)])
    pooled = rate_limits(8, 20.0)
    assert unseen.basis is RegionBasis.OTHERS
    assert unseen.low < pooled.low
    assert unseen.high > pooled.high
    *_, blind = region_rates([*seen[:2], RegionLook(extent=WEB, count=0, looked_m2=0.0)])
    assert (blind.basis, blind.low, blind.high) == (RegionBasis.NOTHING, 0.0, math.inf)
    assert region_rates(seen)[0].high == rate_limits(2, 5.0).high


def test_regions_that_differ_say_less_of_others():
    """The more the rates of regions differ, the wider are the limits of one nobody looked at."""
    blank = RegionLook(extent=WEB, count=0, looked_m2=0.0)
    alike, unlike = (
        region_rates([*(RegionLook(extent=WEB, count=k, looked_m2=5.0) for k in counts), blank])[-1]
        for counts in ((5, 5, 5, 5, 5, 5), (0, 0, 1, 0, 28, 1))
    )
    assert unlike.high > 2 * alike.high


def test_an_unseen_region_is_held_by_its_limits():
    """Over 150 webs with differing regions, 95 % limits hold the rate of the unseen one in 93 % or more."""
    rng = np.random.Generator(np.random.PCG64(4))
    held = 0
    for _ in range(150):
        rates = rng.gamma(1.0, 1.0, 11)
        looks = [RegionLook(extent=WEB, count=int(rng.poisson(4.0 * r)), looked_m2=4.0) for r in rates[:10]]
        found = region_rates([*looks, RegionLook(extent=WEB, count=0, looked_m2=0.0)])[-1]
        held += found.low <= rates[10] <= found.high
    assert held >= 140


def marks(*places):
    """Spots of (along, across, size)."""
    rows = [
        dict.fromkeys(MARKS_SCHEMA, 1.0)
        | {"id": str(n), "along_m": a, "across_mm": x, "length_mm": s, "width_mm": s / 2, "polarity": "dark"}
        | {"kind": "spot" if n % 2 else "hole", "rule": "r", "source": "scan"}
        for n, (a, x, s) in enumerate(places)
    ]
    return pl.DataFrame(rows, schema=MARKS_SCHEMA) if rows else empty_marks()


def test_classes_count_what_was_looked_at():
    """Marks outside what was looked at don't count, kinds and sizes sum to all, lanes to the width."""
    hole = Unseen(extent=Extent(along_from_m=0, along_to_m=10, across_from_mm=0, across_to_mm=1000), why="lost")
    lanes = [Lane(number=n + 1, across_from_mm=500.0 * n, across_to_mm=500.0 * (n + 1)) for n in range(2)]
    table = marks((5, 100, 1.0), (20, 100, 0.2), (30, 600, 0.6), (40, 700, 2.0), (150, 5, 1.0))
    found = class_rates(table, Coverage(seen=(WEB,), unseen=(hole,)), WEB, lanes=lanes, size_borders_mm=[0.5])
    everything, small, large = found[0:3]
    assert [r.per_m2.count for r in (everything, small, large)] == [3, 1, 2]
    assert everything.per_m2.extent == pytest.approx(90.0)
    assert everything.per_m.rate == pytest.approx(everything.per_m2.rate * 1.0)
    kinds = [r for r in found if r.lane is None and r.of.kind and math.isinf(r.of.size_to_mm) and not r.of.size_from_mm]
    assert sum(r.per_m2.count for r in kinds) == 3
    by_lane = [r for r in found if r.lane is not None and r.of == everything.of]
    assert [r.per_m2.count for r in by_lane] == [1, 2]
    assert by_lane[0].per_m.rate == pytest.approx(by_lane[0].per_m2.rate * 0.5)


def test_nothing_looked_at_gives_no_rate():
    """Where nobody looked there is no rate, not a rate of nothing."""
    assert class_rates(empty_marks(), Coverage(), WEB) == ()


@pytest.mark.parametrize(
    ("call", "named"),
    [
        (lambda: combine_looks([]), "looks"),
        (lambda: combine_looks([look(-1, 1.0)]), "look s"),
        (lambda: combine_looks([look(1, 1.0, 0.5, 0.6)]), "look s, detected"),
        (lambda: measure_dispersion([1], [1.0]), "counts"),
        (lambda: clustered_limits([1, 2], [1.0, 0.0]), "areas_m2"),
        (lambda: region_rates([RegionLook(extent=WEB, count=0, looked_m2=101.0)]), "regions"),
        (lambda: class_rates(empty_marks(), Coverage(), WEB, size_borders_mm=[1.0, 0.5]), "size_borders_mm"),
    ],
)
def test_impossible_arguments_are_named(call, named):
    """An impossible argument gives an error that names it."""
    with pytest.raises(ArgumentError, match=f"^{named}:"):
        call()
