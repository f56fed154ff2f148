"""The layer of a mark from what was seen through filters."""

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wideroll.examination import ERROR_RATE, FilterColour, Layer, Seen, locate_layer

RED, GREEN, BLUE = FilterColour.RED, FilterColour.GREEN, FilterColour.BLUE
DARKER, LIGHTER, SAME = Seen.DARKER, Seen.LIGHTER, Seen.SAME

DYE_LAYERS = {
    Layer.CYAN: {RED},
    Layer.MAGENTA: {GREEN},
    Layer.YELLOW: {BLUE},
    Layer.CYAN_MAGENTA: {RED, GREEN},
    Layer.CYAN_YELLOW: {RED, BLUE},
    Layer.MAGENTA_YELLOW: {GREEN, BLUE},
    Layer.OPAQUE: {RED, GREEN, BLUE},
}
LOOKS = st.dictionaries(st.sampled_from(FilterColour), st.sampled_from(Seen))
SAID = st.fixed_dictionaries(
    {
        "through": LOOKS,
        "embedded": st.sampled_from([True, False, None]),
        "wipes_off": st.sampled_from([True, False, None]),
        "metallic": st.booleans(),
    }
)


@pytest.mark.parametrize(("layer", "touched"), DYE_LAYERS.items(), ids=[layer.value for layer in DYE_LAYERS])
@pytest.mark.parametrize("change", [DARKER, LIGHTER])
def test_a_clear_look_finds_its_layer_and_sign(sighting, layer, touched, change):
    """Darker or lighter through just the filters of a layer, and embedded: that layer, in excess or lack."""
    look = {colour: change if colour in touched else SAME for colour in FilterColour}
    found = locate_layer(sighting(through=look, embedded=True))
    assert found.likeliest is layer
    assert found.probability[layer] > 0.75
    assert found.excess is (change is DARKER)
    assert found.contradiction == ""


def test_the_rest_of_an_opaque_mark_is_what_one_wrong_answer_makes_of_it(sighting):
    """Dark through all filters and embedded is opaque with 88 %; dirt on top has 5 %, each pair of records 2 %."""
    found = locate_layer(sighting(through=dict.fromkeys(FilterColour, DARKER), embedded=True)).probability
    assert found[Layer.OPAQUE] == pytest.approx(0.88, abs=0.005)
    assert found[Layer.SURFACE] == pytest.approx(0.05, abs=0.005)
    pairs = (Layer.CYAN_MAGENTA, Layer.CYAN_YELLOW, Layer.MAGENTA_YELLOW)
    assert all(found[layer] == pytest.approx(0.023, abs=0.005) for layer in pairs)


def test_surface_marks_are_told_by_touch(sighting):
    """The same through all filters and wiped off: on the surface, and no word on dye."""
    found = locate_layer(sighting(through=dict.fromkeys(FilterColour, SAME), wipes_off=True))
    assert found.likeliest is Layer.SURFACE
    assert found.excess is None


@given(said=SAID)
def test_probabilities_sum_to_one(sighting, said):
    """Whatever was said, each layer has a probability and they sum to 1."""
    found = locate_layer(sighting(**said))
    assert set(found.probability) == set(Layer)
    assert sum(found.probability.values()) == pytest.approx(1.0)
    assert min(found.probability.values()) > 0.0


def test_nothing_said_leaves_all_equal(sighting):
    """Without any answer no layer is preferred."""
    assert set(locate_layer(sighting()).probability.values()) == {1 / 8}


@given(look=LOOKS)
def test_agrees_with_bayes_by_enumeration(sighting, look):
    """The oracle writes every case out: layer, sign, and each answer right or wrong."""
    weights = dict.fromkeys(Layer, 0.0)
    cases = [(layer, touched, change) for (layer, touched), change in itertools.product(DYE_LAYERS.items(), "+-")]
    for layer, touched, change in [*cases, (Layer.SURFACE, set(), "+"), (Layer.SURFACE, set(FilterColour), "+")]:
        weight = 0.5
        for colour, said in look.items():
            true = SAME if colour not in touched else DARKER if change == "+" else LIGHTER
            weight *= 1 - ERROR_RATE if said is true else ERROR_RATE / 2
        weights[layer] += weight
    total = sum(weights.values())
    found = locate_layer(sighting(through=look))
    for layer, weight in weights.items():
        assert found.probability[layer] == pytest.approx(weight / total)


@pytest.mark.parametrize(
    ("said", "part"),
    [
        ({"through": {RED: DARKER, GREEN: LIGHTER}}, "darker through red but lighter through green"),
        ({"embedded": True, "wipes_off": True}, "embedded, yet it wipes off"),
        ({"embedded": True, "through": dict.fromkeys(FilterColour, SAME)}, "looks the same"),
        ({"metallic": True, "through": {BLUE: SAME}}, "not darker through blue"),
    ],
)
def test_contradictions_are_said(sighting, said, part):
    """Statements that can't be true together are named."""
    assert part in locate_layer(sighting(**said)).contradiction


@given(said=SAID, turn=st.permutations(list(FilterColour)))
def test_renaming_the_filters_renames_the_layers(sighting, said, turn):
    """Exchanging filters exchanges the layers' probabilities and nothing else."""
    renamed = dict(zip(FilterColour, turn, strict=True))
    one = locate_layer(sighting(**said)).probability
    other = locate_layer(
        sighting(**(said | {"through": {renamed[c]: v for c, v in said["through"].items()}}))
    ).probability
    by_filters = {frozenset(touched): layer for layer, touched in DYE_LAYERS.items()}
    for touched, layer in by_filters.items():
        partner = by_filters[frozenset(renamed[colour] for colour in touched)]
        assert other[partner] == pytest.approx(one[layer])
