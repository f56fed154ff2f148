"""Sheets as PDF, of what the record holds."""

from collections.abc import Sequence
from dataclasses import replace
from enum import StrEnum
from pathlib import Path
from typing import Final

from wideroll.acts.card_acts import chosen_cards
from wideroll.acts.deciding import Planned
from wideroll.acts.rolls import RollInHand, take_in_hand
from wideroll.acts.sealing import assessment_behind
from wideroll.acts.standing import events_of_cards, sealed_decision
from wideroll.errors import InputError
from wideroll.readers import PlantFolder
from wideroll.record import Event
from wideroll.release import Decision, Verdict
from wideroll.report import CutHead, status_of, units_of
from wideroll.report.pdf import Certified, PrintedCard, Sealed, cards_pdf, certificate_pdf, cut_pdf, decision_pdf
from wideroll.slitting import CutPlan
from wideroll.store import CARD, CARD_CLOSED, load_cards, read_bytes
from wideroll.workflow import ActionCard

__all__ = ["Kind", "printed_sheet"]

_OF_BOOK: Final = (("planned for", "the order book"),)


class Kind(StrEnum):
    """What can be printed."""

    CERTIFICATE = "certificate"
    DECISION = "decision"
    CUT = "cut"
    CARD = "card"


def printed_sheet(plant: Path, roll: str, kind: Kind, card: int | None = None) -> bytes:
    """A sheet as PDF: the same bytes each time, with the records it was made from attached; nothing is recorded.

    Args:
        plant: its folder.
        roll: its name.
        kind: what is printed.
        card: number of one card; None for all.

    Raises:
        InputError: when the roll isn't decided on its evidence as it is now, or there is nothing of the kind to print.
        RecordError: when the record doesn't hold, or a file isn't the one that was sealed.
    """
    return _cards(plant, roll, card) if kind is Kind.CARD else _of_decision(plant, roll, kind)


def _of_decision(plant: Path, roll: str, kind: Kind) -> bytes:
    hand = take_in_hand(plant, roll)
    sealed = sealed_decision(hand)
    decision, plan = _kept(hand)
    if kind is Kind.CUT:
        document = read_bytes(hand.results.path / "cut.json")
        return cut_pdf(plan, _head(hand, decision, plan), sealed, document=document)
    if kind is Kind.CERTIFICATE:
        return _certificate(hand, decision, plan, sealed)
    return decision_pdf(replace(assessment_behind(hand, None), plan=plan), sealed)


def _certificate(hand: RollInHand, decision: Decision, plan: CutPlan | None, sealed: Sealed) -> bytes:
    card = hand.desk.card
    if decision.verdict not in {Verdict.RELEASE, Verdict.CUT_OUT}:
        raise InputError(
            where=f"roll {card.name}, event {sealed.decision.number}",
            rule="a certificate is of a roll that is released, whole or with parts cut out",
            value=decision.verdict,
            mend=f"Print the decision sheet: wideroll print {hand.root} {card.name} decision FILE.pdf.",
        )
    head = _head(hand, decision, plan)
    return certificate_pdf(
        Certified(card=card, whole=hand.desk.whole, decision=decision, plan=plan, head=head, sealed=sealed)
    )


def _kept(hand: RollInHand) -> tuple[Decision, CutPlan | None]:
    """What the decision made, from the files that the record names."""
    decision = hand.results.load("state/decision", Decision, hand.fingerprint)
    planned = hand.results.load("state/plan", Planned, hand.fingerprint)
    if decision is None or planned is None:
        raise InputError(
            where=str(hand.results.path / "state"),
            rule="decision.json and plan.json must be of the decision that stands",
            mend=f"Decide anew: wideroll decide {hand.root} {hand.desk.card.name}.",
        )
    return decision, planned.plan


def _head(hand: RollInHand, decision: Decision, plan: CutPlan | None) -> CutHead:
    desk = hand.desk
    return CutHead(
        roll=desk.card.name,
        status=status_of(decision.verdict),
        product=desk.product.name,
        plant=desk.plant.name,
        datum_edge=desk.plant.datum_edge,
        units=units_of(desk.plant.shop_units),
        currency="" if desk.product.costs is None else desk.product.costs.currency,
        facts=_OF_BOOK if plan is not None and plan.of_book else (),
    )


def _cards(plant: Path, roll: str, number: int | None) -> bytes:
    PlantFolder(plant).card(roll)
    folder = plant / "results" / roll
    cards: Sequence[ActionCard] = chosen_cards(load_cards(folder), number, folder)
    if not cards:
        raise InputError(
            where=str(folder / "cards"),
            rule="there must be an action card to print",
            value="none",
            mend="Cards are raised by `wideroll watch`; check the roll's name.",
        )
    events = events_of_cards(plant, roll)
    return cards_pdf(
        [
            PrintedCard(
                card=card, raised=_of_card(events, CARD, card.number), closed=_of_card(events, CARD_CLOSED, card.number)
            )
            for card in cards
        ]
    )


def _of_card(events: Sequence[Event], act: str, number: int) -> Event | None:
    """The last such event on a card."""
    return next((one for one in reversed(events) if one.act == act and one.body.get("card") == number), None)
