"""The use cases, over ports: what a person does in one go.

Rooms hand frozen results to one another only through here. Nothing here reads a file, a clock or a database: adapters
for the ports come from above.
"""

from typing import TYPE_CHECKING

from wideroll.on_demand import on_demand

if TYPE_CHECKING:
    from wideroll.workflow.action_card import CAUTION, ActionCard, CardClosing, CardSink, CardTaking
    from wideroll.workflow.assess import RollDesk, assess_roll, check_widths, open_roll
    from wideroll.workflow.cutting import CutRequest, cut_request, plan_from, splices_of
    from wideroll.workflow.detected import detected_classes, telling_curves
    from wideroll.workflow.detection import measure_detection, true_rate
    from wideroll.workflow.gather import (
        BATCHES,
        FLAW_UNITS,
        SCAN,
        SHEETS,
        STRIPS,
        RoomResults,
        batch_extents,
        gather_evidence,
    )
    from wideroll.workflow.gather_readings import READING_UNITS
    from wideroll.workflow.model import (
        Assessment,
        Batch,
        ClassDetected,
        Examination,
        Examined,
        OtherScan,
        Plant,
        Product,
        RollCard,
        Scanner,
        StripRoom,
    )
    from wideroll.workflow.moments import when
    from wideroll.workflow.naming import cleaned_before, name_series
    from wideroll.workflow.notice_model import FileNotice, MqttNotice, Notice, WebhookNotice
    from wideroll.workflow.ports import (
        Grey,
        OtherScans,
        OverviewStore,
        PlantFiles,
        Progress,
        Raster,
        Results,
        Silent,
    )
    from wideroll.workflow.processor_model import (
        ProcessedRun,
        ProcessLog,
        Processor,
        ProcessorHistory,
        ProcessorRun,
        ProcessorState,
        Standing,
    )
    from wideroll.workflow.processors import chart_run, chart_runs, processor_state, quantities_words
    from wideroll.workflow.property_model import (
        Judged,
        Measurement,
        PropertyEvidence,
        PropertySpec,
        PropertySummary,
    )
    from wideroll.workflow.property_readings import gather_properties
    from wideroll.workflow.scanning import ScanRunner, fit_to_roll, scan_web, scanned_m, tell_origins
    from wideroll.workflow.strip_room import judge_strips
    from wideroll.workflow.take_in import examine_sheets, search_repeats, whole_web

__all__ = [
    "BATCHES",
    "CAUTION",
    "FLAW_UNITS",
    "READING_UNITS",
    "SCAN",
    "SHEETS",
    "STRIPS",
    "ActionCard",
    "Assessment",
    "Batch",
    "CardClosing",
    "CardSink",
    "CardTaking",
    "ClassDetected",
    "CutRequest",
    "Examination",
    "Examined",
    "FileNotice",
    "Grey",
    "Judged",
    "Measurement",
    "MqttNotice",
    "Notice",
    "OtherScan",
    "OtherScans",
    "OverviewStore",
    "Plant",
    "PlantFiles",
    "ProcessLog",
    "ProcessedRun",
    "Processor",
    "ProcessorHistory",
    "ProcessorRun",
    "ProcessorState",
    "Product",
    "Progress",
    "PropertyEvidence",
    "PropertySpec",
    "PropertySummary",
    "Raster",
    "Results",
    "RollCard",
    "RollDesk",
    "RoomResults",
    "ScanRunner",
    "Scanner",
    "Silent",
    "Standing",
    "StripRoom",
    "WebhookNotice",
    "assess_roll",
    "batch_extents",
    "chart_run",
    "chart_runs",
    "check_widths",
    "cleaned_before",
    "cut_request",
    "detected_classes",
    "examine_sheets",
    "fit_to_roll",
    "gather_evidence",
    "gather_properties",
    "judge_strips",
    "measure_detection",
    "name_series",
    "open_roll",
    "plan_from",
    "processor_state",
    "quantities_words",
    "scan_web",
    "scanned_m",
    "search_repeats",
    "splices_of",
    "tell_origins",
    "telling_curves",
    "true_rate",
    "when",
    "whole_web",
]

on_demand(__name__)
