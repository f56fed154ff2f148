"""Web or handling."""

import itertools

import pytest

from wideroll.examination import Origin, counts_against_film, find_origin
from wideroll.roll import MarkKind


@pytest.mark.parametrize(
    ("said", "scanner", "origin"),
    [
        ({"embedded": True}, None, Origin.WEB),
        ({"embedded": True}, False, Origin.WEB),
        ({}, True, Origin.WEB),
        ({"wipes_off": True}, False, Origin.HANDLING),
        ({"wipes_off": True}, None, Origin.HANDLING),
        ({"embedded": False}, False, Origin.UNDECIDED),
        ({"embedded": False, "wipes_off": True}, False, Origin.HANDLING),
        ({"kind": MarkKind.HOLE, "wipes_off": True}, False, Origin.UNDECIDED),
        ({"kind": MarkKind.STREAK, "wipes_off": True, "embedded": False}, False, Origin.UNDECIDED),
        ({"kind": MarkKind.SCRATCH, "embedded": False}, False, Origin.UNDECIDED),
        ({"embedded": False}, None, Origin.UNDECIDED),
        ({}, False, Origin.UNDECIDED),
        ({}, None, Origin.UNDECIDED),
        ({"wipes_off": True}, True, Origin.UNDECIDED),
        ({"embedded": True, "wipes_off": True}, None, Origin.UNDECIDED),
    ],
)
def test_signs_lead_to_an_origin(sighting, said, scanner, origin):
    """Each combination of signs has the origin that the trade gives it."""
    assert find_origin(sighting(**said), seen_by_scanner=scanner).origin is origin


def test_every_combination_has_a_reason_and_contradictions_name_both(sighting):
    """No finding is without words, and where signs point both ways both are said."""
    for embedded, wipes, scanner in itertools.product([True, False, None], repeat=3):
        found = find_origin(sighting(embedded=embedded, wipes_off=wipes), seen_by_scanner=scanner)
        assert found.why
        if (embedded or scanner) and (wipes or embedded is False):
            assert " yet " in found.why
            assert found.origin is Origin.UNDECIDED


def test_only_handling_is_forgiven(sighting):
    """What is undecided counts against the film; handling marks don't."""
    assert not counts_against_film(find_origin(sighting(wipes_off=True), seen_by_scanner=False))
    assert counts_against_film(find_origin(sighting(), seen_by_scanner=False))
    assert counts_against_film(find_origin(sighting(embedded=True), seen_by_scanner=None))
