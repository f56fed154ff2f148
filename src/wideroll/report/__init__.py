"""Results to figures, tables and sheets: what a person reads.

Nothing here decides, measures or reads files: it is handed an assessment and returns text (SVG, HTML, terminal tables).
The same assessment gives the same bytes.
"""

from typing import TYPE_CHECKING

from wideroll.on_demand import on_demand

if TYPE_CHECKING:
    from wideroll.report.chips_picture import chip_kinds, chips_caption, draw_chips
    from wideroll.report.curves import curves_caption, draw_curves
    from wideroll.report.cut_document import cut_json
    from wideroll.report.cut_head import CutHead, CutStatus, CutUnits, status_of, units_of
    from wideroll.report.cut_list import cut_list_csv
    from wideroll.report.cut_picture import cut_caption, draw_cut
    from wideroll.report.cut_sheet import render_cut_sheet
    from wideroll.report.detection_grids import detected_words, detection_words
    from wideroll.report.fold_picture import draw_fold, fold_caption
    from wideroll.report.grid import Column, Grid
    from wideroll.report.matching_words import matching_text
    from wideroll.report.overview_picture import draw_overview, overview_caption
    from wideroll.report.roll_map import draw_roll_map, roll_map_caption
    from wideroll.report.sheet import cut_head_of, render_sheet
    from wideroll.report.tables import (
        bands_table,
        costs_table,
        coverage_table,
        cut_table,
        decision_table,
        detection_tables,
        farm_table,
        marks_summary_table,
        missing_table,
        mottle_table,
        process_runs_table,
        rich_table,
        series_table,
        sightings_table,
        splices_table,
        streaks_table,
        strips_table,
    )
    from wideroll.report.theme import verdict_sign
    from wideroll.report.trace_document import trace_json

__all__ = [
    "Column",
    "CutHead",
    "CutStatus",
    "CutUnits",
    "Grid",
    "bands_table",
    "chip_kinds",
    "chips_caption",
    "costs_table",
    "coverage_table",
    "curves_caption",
    "cut_caption",
    "cut_head_of",
    "cut_json",
    "cut_list_csv",
    "cut_table",
    "decision_table",
    "detected_words",
    "detection_tables",
    "detection_words",
    "draw_chips",
    "draw_curves",
    "draw_cut",
    "draw_fold",
    "draw_overview",
    "draw_roll_map",
    "farm_table",
    "fold_caption",
    "marks_summary_table",
    "matching_text",
    "missing_table",
    "mottle_table",
    "overview_caption",
    "process_runs_table",
    "render_cut_sheet",
    "render_sheet",
    "rich_table",
    "roll_map_caption",
    "series_table",
    "sightings_table",
    "splices_table",
    "status_of",
    "streaks_table",
    "strips_table",
    "trace_json",
    "units_of",
    "verdict_sign",
]

on_demand(__name__)
