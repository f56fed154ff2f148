"""The layer from sections, measured densities and all evidence together, against marks whose layer is known."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from wideroll.errors import ArgumentError
from wideroll.examination import FilterColour, Layer, Reliability, Section, Seen, density_change, locate_layer
from wideroll.examination.orthants import log_normal_density, log_positive
from wideroll.synthetic import DYE_MATRIX, look_at_marks

RED, GREEN, BLUE = FilterColour
SECTIONS = {
    Layer.CYAN: Section.CYAN_SEPARATION,
    Layer.MAGENTA: Section.MAGENTA_SEPARATION,
    Layer.YELLOW: Section.YELLOW_SEPARATION,
}


@pytest.mark.parametrize("layer", SECTIONS)
def test_what_shows_in_one_separation_only_is_in_that_record(sighting, layer):
    """A thick or thin coat shows where its record is exposed and nowhere else: that alone names the record."""
    shows = {section: section is SECTIONS[layer] for section in SECTIONS.values()}
    found = locate_layer(sighting(shows_in={**shows, Section.UNEXPOSED: False, Section.HIGH_DENSITY: True}))
    assert found.likeliest is layer
    assert found.probability[layer] > 0.7


def test_what_shows_in_every_section_is_opaque_or_on_the_surface(sighting):
    """Something without dye shows whatever the film around it does."""
    found = locate_layer(sighting(shows_in=dict.fromkeys(Section, True))).probability
    assert found[Layer.OPAQUE] + found[Layer.SURFACE] > 0.5


def test_on_reversal_film_dye_lies_where_nothing_was_exposed(sighting):
    """A lack in the cyan record of reversal film doesn't show in the cyan separation, where that record has no dye."""
    lighter = {RED: Seen.LIGHTER, GREEN: Seen.SAME, BLUE: Seen.SAME}
    shows = {Section.CYAN_SEPARATION: False, Section.MAGENTA_SEPARATION: True, Section.UNEXPOSED: True}
    seen = sighting(through=lighter, shows_in=shows)
    right, wrong = (locate_layer(seen, reversal=reversal) for reversal in (True, False))
    assert right.probability[Layer.CYAN] > 0.99
    assert wrong.probability[Layer.CYAN] < right.probability[Layer.CYAN]
    assert right.conflict < 1.0 < wrong.conflict


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize("dyes", [d for n in (1, 2) for d in itertools.combinations(range(3), n)])
def test_measured_densities_name_the_dyes_through_their_matrix(sighting, dyes, sign):
    """Densities of a mark in one or two records name them, unwanted absorptions and all, and give the amounts."""
    layers = {(0,): Layer.CYAN, (1,): Layer.MAGENTA, (2,): Layer.YELLOW}
    layers |= {(0, 1): Layer.CYAN_MAGENTA, (0, 2): Layer.CYAN_YELLOW, (1, 2): Layer.MAGENTA_YELLOW}
    amounts = np.array([0.3 * sign if dye in dyes else 0.0 for dye in range(3)])
    measured = density_change(np.array(DYE_MATRIX) @ amounts, 0.01)
    found = locate_layer(sighting(), change=measured, dye_matrix=DYE_MATRIX)
    assert found.likeliest is layers[dyes]
    assert found.excess is (sign > 0)
    assert found.amounts == pytest.approx(amounts.tolist(), abs=1e-9)
    assert not found.contradiction


def test_without_a_matrix_unwanted_absorption_isnt_taken_for_dye(sighting):
    """15 % of the greatest density in another colour may be the same dye's: one record stays likeliest, less surely."""
    measured = density_change([0.4, 0.05, 0.0], 0.01)
    plain = locate_layer(sighting(), change=measured)
    assert plain.likeliest is Layer.CYAN
    assert (
        plain.probability[Layer.CYAN]
        < locate_layer(
            sighting(), change=density_change(np.array(DYE_MATRIX)[:, 0] * 0.4, 0.01), dye_matrix=DYE_MATRIX
        ).probability[Layer.CYAN]
    )


def test_the_same_density_in_all_three_is_no_single_dye(sighting):
    """Neutral density is opaque, all records or dirt on top."""
    found = locate_layer(sighting(), change=density_change([0.8, 0.8, 0.8], 0.02), dye_matrix=DYE_MATRIX).probability
    assert found[Layer.OPAQUE] + found[Layer.SURFACE] > 0.9


@pytest.mark.parametrize("kind", ["answers", "densities too", "matrix not quite right", "no matrix"])
def test_stated_probabilities_are_the_frequencies_with_which_they_come_true(kind):
    """Over 600 marks and more, with mistakes, layers given a probability are true that often in each class."""
    how = {"answers": {"density_sd": None}, "matrix not quite right": {"crosstalk": 0.03, "density_sd": 0.01}}
    marks = look_at_marks(1500 if kind == "answers" else 600, seed=3, **how.get(kind, {}))
    matrix = None if kind in {"answers", "no matrix"} else DYE_MATRIX
    found = [locate_layer(mark.sighting, dye_matrix=matrix) for mark in marks]
    stated = np.array([list(one.probability.values()) for one in found])
    true = np.array(
        [[layer is mark.layer for layer in one.probability] for one, mark in zip(found, marks, strict=True)]
    )
    for low, high in itertools.pairwise((0.0, 0.02, 0.1, 0.3, 0.5, 0.7, 0.9, 1.001)):
        inside = (stated >= low) & (stated < high)
        expected, count = stated[inside].mean(), inside.sum()
        sd = math.sqrt(expected * (1.0 - expected) / count)
        assert abs(true[inside].mean() - expected) < 3.5 * sd + 0.005
    signs = [
        (one.excess, mark.excess)
        for one, mark in zip(found, marks, strict=True)
        if None not in {one.excess, mark.excess}
    ]
    assert np.mean([said == truly for said, truly in signs]) > 0.97


def test_consistent_evidence_is_seldom_called_a_conflict():
    """A product of probabilities 20 times that of all the evidence comes up in fewer than 1 of 20 marks."""
    marks = look_at_marks(600, seed=8)
    conflict = [locate_layer(mark.sighting, dye_matrix=DYE_MATRIX).conflict for mark in marks]
    assert np.mean(np.array(conflict) >= 20.0) < 0.05
    assert np.mean(conflict) == pytest.approx(1.0, abs=0.6)


def test_the_conflict_has_expectation_one_by_enumeration(sighting):
    """Summed over all answers of filters and depth with their probability, the measure of conflict is exactly 1."""
    total = 0.0
    alone = {}
    for looks in itertools.product(Seen, repeat=3):
        through = dict(zip(FilterColour, looks, strict=True))
        for embedded in (True, False):
            found = locate_layer(sighting(through=through, embedded=embedded))
            alone[looks, embedded] = found.conflict
    # P(filters)·P(depth) = conflict·P(both); both sides sum to 1
    filters = {looks: _filters_probability(looks) for looks in itertools.product(Seen, repeat=3)}
    depth = {True: 0.95 * 7 / 8 + 0.05 / 8, False: 0.05 * 7 / 8 + 0.95 / 8}
    for (looks, embedded), conflict in alone.items():
        total += filters[looks] * depth[embedded] / conflict
    assert total == pytest.approx(1.0)


def _filters_probability(looks):
    total = 0.0
    for touched in (t for n in (1, 2, 3) for t in itertools.combinations(range(3), n)):
        for change in (Seen.DARKER, Seen.LIGHTER):
            total += _said(looks, [change if n in touched else Seen.SAME for n in range(3)]) / 16.0
    return total + sum(_said(looks, [look] * 3) for look in (Seen.SAME, Seen.DARKER)) / 16.0


def _said(looks, true):
    return math.prod(0.95 if one is other else 0.025 for one, other in zip(looks, true, strict=True))


def test_densities_against_filters_are_said_with_who_says_what(sighting):
    """Filters that name cyan and densities that name magenta contradict: both are named, and nothing is settled."""
    seen = sighting(through={RED: Seen.DARKER, GREEN: Seen.SAME, BLUE: Seen.SAME})
    measured = density_change(np.array(DYE_MATRIX)[:, 1] * 0.4, 0.01)
    found = locate_layer(seen, change=measured, dye_matrix=DYE_MATRIX)
    assert found.conflict > 20.0
    assert "filters say cyan record, densities say magenta record" in found.contradiction
    assert "the same through green, yet measured +0.40 ± 0.01 in green" in found.contradiction
    assert max(found.alone["filters"], key=found.alone["filters"].get) is Layer.CYAN
    assert max(found.alone["densities"], key=found.alone["densities"].get) is Layer.MAGENTA


@pytest.mark.parametrize(
    ("said", "density", "part"),
    [
        ({"through": {RED: Seen.DARKER}}, (-0.2, 0.0, 0.0), "darker through red, yet measured -0.20"),
        ({"through": {BLUE: Seen.LIGHTER}}, (0.0, 0.0, 0.3), "lighter through blue, yet measured +0.30"),
        ({}, (0.3, -0.3, 0.0), "excess of cyan and lack of magenta"),
        ({"metallic": True, "shows_in": {Section.UNEXPOSED: False}}, (0.5, 0.5, 0.5), "doesn't show in unexposed"),
    ],
)
def test_measured_contradictions_are_named(sighting, said, density, part):
    """An answer that the density refutes, and excess and lack at one place, are said in words."""
    assert part in locate_layer(sighting(**said), change=density_change(density, 0.02)).contradiction


def test_two_measurements_that_cant_be_of_one_mark_are_said(sighting):
    """A densitometer and a photograph that differ beyond 1 % chance are named; such as agree aren't."""
    first, near, far = (density_change(d, 0.02) for d in ([0.3, 0.05, 0.0], [0.32, 0.04, 0.01], [0.1, 0.3, 0.0]))
    assert "another way" not in locate_layer(sighting(), change=first, second=near).contradiction
    assert "another way, +0.10, +0.30, +0.00" in locate_layer(sighting(), change=first, second=far).contradiction


def test_a_surer_examiner_gives_a_surer_layer(sighting):
    """The examiner's own share of mistakes counts: fewer of them leave less doubt."""
    seen = sighting(through={RED: Seen.DARKER, GREEN: Seen.SAME, BLUE: Seen.SAME})
    sure = locate_layer(seen, reliability=Reliability(filters=0.01)).probability[Layer.CYAN]
    assert sure > locate_layer(seen).probability[Layer.CYAN]
    with pytest.raises(ArgumentError, match="filters"):
        Reliability(filters=0.5)


@pytest.mark.parametrize("matrix", [[[1, 1, 0], [1, 1, 0], [0, 0, 1]], [[1, 0], [0, 1]], [[math.nan] * 3] * 3])
def test_a_matrix_that_tells_no_dyes_apart_is_refused(sighting, matrix):
    """The dyes must differ, or their amounts are anybody's guess."""
    with pytest.raises(ArgumentError, match="tell cyan, magenta and yellow apart"):
        locate_layer(sighting(), dye_matrix=matrix)


@pytest.mark.parametrize(("density", "sd"), [([0.1, 0.2], 0.01), ([0.1, math.nan, 0.0], 0.01), ([0.1, 0.1, 0.1], 0.0)])
def test_densities_without_uncertainty_or_colour_are_refused(density, sd):
    """Three finite densities and how well they repeat are needed."""
    with pytest.raises(ArgumentError):
        density_change(density, sd)


@settings(deadline=None)
@given(
    mean=st.lists(st.floats(-2.0, 2.0), min_size=3, max_size=3),
    rho=st.tuples(*[st.floats(-0.7, 0.7)] * 2),
    n=st.integers(1, 3),
)
def test_orthants_agree_with_a_library(mean, rho, n):
    """Probabilities that all are positive are those of scipy's multivariate normal distribution."""
    root = np.array([[1.0, 0.0, 0.0], [rho[0], 1.0, 0.0], [rho[1], 0.3, 0.8]])[:n, :n]
    covariance = root @ root.T
    mean = np.array(mean[:n])
    law = stats.multivariate_normal(mean=-mean, cov=covariance)
    assert math.exp(log_positive(mean, covariance)) == pytest.approx(law.cdf(np.zeros(n)), abs=2e-4)
    assert log_normal_density(mean, covariance) == pytest.approx(law.logpdf(np.zeros(n)))


def test_far_off_orthants_keep_their_order():
    """Where next to nothing is left, further off is still less probable."""
    near, far = (log_positive(np.array([-d, -d, 1.0]), np.eye(3)) for d in (8.0, 12.0))
    assert far < near < -27.0
