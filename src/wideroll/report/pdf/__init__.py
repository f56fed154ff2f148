"""Sheets as PDF: certificate, decision, cut list and action cards.

They say the same as the pages, are tagged, carry the records they were made from, and are the same bytes each time.
To make one takes the extra ``pdf``; to import this doesn't.
"""

from typing import TYPE_CHECKING

from wideroll.on_demand import on_demand

if TYPE_CHECKING:
    from wideroll.report.pdf.cards import PrintedCard, cards_pdf
    from wideroll.report.pdf.certificate import Certified, certificate_pdf
    from wideroll.report.pdf.cut import cut_pdf
    from wideroll.report.pdf.decision import decision_pdf
    from wideroll.report.pdf.sealed import Sealed
    from wideroll.report.pdf.typesetting import AttachedFile, PdfSheet, typeset

__all__ = [
    "AttachedFile",
    "Certified",
    "PdfSheet",
    "PrintedCard",
    "Sealed",
    "cards_pdf",
    "certificate_pdf",
    "cut_pdf",
    "decision_pdf",
    "typeset",
]

on_demand(__name__)
