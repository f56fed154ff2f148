"""The command that sets sheets as PDF."""

from collections.abc import Sequence
from dataclasses import replace
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Final

import typer

from wideroll.cli.app import app
from wideroll.cli.cards import chosen_cards
from wideroll.cli.console import print_json, say, tell
from wideroll.cli.deciding import Planned
from wideroll.cli.options import Json, PlantArg, RollArg, misused
from wideroll.cli.rolls import RollInHand, take_in_hand
from wideroll.cli.sealing import assessment_behind
from wideroll.cli.standing import events_of_cards, sealed_decision
from wideroll.errors import InputError
from wideroll.readers import PlantFolder
from wideroll.record import Event, digest
from wideroll.release import Decision, Verdict
from wideroll.report import CutHead, status_of, units_of
from wideroll.report.pdf import Certified, PrintedCard, Sealed, cards_pdf, certificate_pdf, cut_pdf, decision_pdf
from wideroll.slitting import CutPlan
from wideroll.store import CARD, CARD_CLOSED, load_cards, read_bytes, write_whole
from wideroll.workflow import ActionCard

__all__ = ["print_sheet"]

_ENDING: Final = ".pdf"
_MUST_END: Final = f"its name must end in {_ENDING}"
_OF_A_CARD: Final = "goes with the kind card"
_OF_BOOK: Final = (("planned for", "the order book"),)


class Kind(StrEnum):
    """What can be printed."""

    CERTIFICATE = "certificate"
    DECISION = "decision"
    CUT = "cut"
    CARD = "card"


@app.command(name="print")
def print_sheet(
    plant: PlantArg,
    roll: RollArg,
    kind: Annotated[Kind, typer.Argument(metavar="KIND", help="certificate, decision, cut or card.")],
    file: Annotated[Path, typer.Argument(metavar="FILE.pdf", help="Where the sheet goes.")],
    *,
    card: Annotated[int | None, typer.Option(metavar="N", min=0, help="Number of one card; else all.")] = None,
    as_json: Json = False,
) -> None:
    """Print a sheet as PDF: the same bytes each time, with the records it was made from attached.

    \b
    Examples:
      wideroll print demo W-2041 certificate W-2041.pdf    for whoever gets the film; only of a roll that is released
      wideroll print demo W-2042 decision decision.pdf     all that was decided, and why

    Only what the record holds is printed; to print decides nothing and adds nothing to the record.
    """
    if file.suffix.lower() != _ENDING:
        raise misused(_MUST_END, "FILE.pdf")
    if card is not None and kind is not Kind.CARD:
        raise misused(_OF_A_CARD, "--card")
    data = _cards(plant, roll, card) if kind is Kind.CARD else _of_decision(plant, roll, kind)
    write_whole(file, data)
    if as_json:
        print_json(
            {"schema": "wideroll/print/1", "roll": roll, "kind": kind, "file": str(file), "sha256": digest(data)}
        )
        return
    say(f"{kind}: {file}")
    tell("Nothing was added to the record.")


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
