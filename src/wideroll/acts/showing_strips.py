"""The page of a roll's strips: curves, departures from aim, records against one another, profiles, process."""

from pathlib import Path
from typing import Any, Final

from wideroll.acts.shown_page import ShownPage
from wideroll.readers import PlantFolder
from wideroll.report import dye_grids, evidence_grids
from wideroll.report.curve_data import curves_json, read_out_json
from wideroll.report.curves import CURVES_GUIDE, curves_caption, curves_frame, curves_grid, draw_curves
from wideroll.report.grid import Cell, Column, Grid
from wideroll.report.grid_json import grid_json
from wideroll.report.instrument_grids import calibrations_grid, gauges_grid
from wideroll.report.machine import strips_json
from wideroll.report.page import PageFigure
from wideroll.report.pair_grids import pairs_grid
from wideroll.report.processor_grids import charted_grid, last_runs_grid, processors_grid
from wideroll.report.processor_picture import draw_processor, processor_caption
from wideroll.report.profile_grids import change_sentences, changes_grid, profiles_grid
from wideroll.report.profile_picture import PROFILES_GUIDE, draw_profiles, profiles_caption
from wideroll.sensitometry.model import Aims, StripResult
from wideroll.workflow import Assessment, StripRoom, whole_web
from wideroll.workflow.strip_profiles import StripProfiles, profile_strips
from wideroll.workflow.strip_room import judge_strips

__all__ = ["STRIP_GUIDE", "fill_strips", "lab_instruments", "strips_now"]

STRIP_GUIDE: Final = (
    f"{CURVES_GUIDE} Here also: D − fit, the readings less their curve; and Δ log H, how much slower (above) or faster "
    "(below) than the aim."
)


def fill_strips(page: ShownPage, found: Assessment) -> None:
    """All that is known of a decided roll's strips.

    Args:
        page: to fill.
        found: behind the decision.
    """
    profiles = profile_strips(found.strip_room, found.card, found.whole, found.product.aims)
    _fill(page, found.strip_room, found.product.aims, profiles)


def strips_now(root: Path, roll: str) -> ShownPage:
    """The same page from the files as they are now, decided or not; nothing is written.

    Args:
        root: the plant's folder.
        roll: its name.

    Raises:
        InputError: when a file has a fault.
    """
    files = PlantFolder(root)
    card = files.card(roll)
    product, plant = files.product(card.product), files.plant()
    room = judge_strips(files.strips(roll), product, files.process_log(roll))
    profiles = profile_strips(room, card, whole_web(card.length_m, plant.web_width_mm), product.aims)
    page = ShownPage("strips")
    _fill(page, room, product.aims, profiles)
    return page


def lab_instruments(root: Path, day: str) -> dict[str, Any]:
    """The calibrations of the lab's instruments as on a day, as tables.

    Args:
        root: the plant's folder.
        day: ISO 8601.

    Raises:
        InputError: when the file has a fault.
    """
    found = PlantFolder(root).instruments()
    if found is None:
        return {}
    made = [one.calibrations for one in found.sensitometers.values()]
    made += [one.calibrations for one in found.densitometers.values()]
    grids = {"calibrations": calibrations_grid(made, day)}
    if found.gauges:
        grids["gauges"] = gauges_grid(list(found.gauges.values()), day)
    return {name: grid_json(grid) for name, grid in grids.items()}


def _fill(page: ShownPage, room: StripRoom, aims: Aims, profiles: StripProfiles) -> None:
    """Each strip's curves by themselves."""
    page.setting("strips-known", [_brief(result, number) for number, result in enumerate(room.results, start=1)])
    page.table("strips", evidence_grids.strips_grid(room.results))
    page.table("left-out", _left_out_grid(room))
    if dye_grids.has_dyes(room.results):
        page.table("dyes", dye_grids.dyes_grid(room.results, room.runs))
    page.text(STRIP_GUIDE)
    for number, result in enumerate(room.results, start=1):
        _fill_strip(page, aims, result, number)
    _fill_profiles(page, profiles)
    page.table("runs", evidence_grids.runs_grid(room.runs, room.processors))
    _fill_processors(page, room)
    page.document(
        "data", {**strips_json(room, profiles), "curves": [curves_json(result, aims) for result in room.results]}
    )


def _brief(result: StripResult, number: int) -> dict[str, Any]:
    return {
        "strip": result.strip.name,
        "number": number,
        "usable": result.usable,
        "why": result.why,
        "drawn": bool(result.fits),
        "run": result.strip.run,
    }


def _fill_strip(page: ShownPage, aims: Aims, result: StripResult, number: int) -> None:
    if result.fits:
        figure = PageFigure(
            svg=draw_curves(result, aims, key=f"curves-{number}", wide=True),
            caption=curves_caption(result, aims),
            data=(curves_grid(result, aims),),
        )
        page.figure(f"curves-{number}", figure, "densities")
        frame = curves_frame(result, aims, wide=True)
        page.document(f"read-out-{number}", {"strip": result.strip.name, **read_out_json(result, aims, frame)})
    page.table(f"measures-{number}", evidence_grids.measures_grid(result))
    page.table(f"pairs-{number}", pairs_grid(result))


def _left_out_grid(room: StripRoom) -> Grid:
    out = [result for result in room.results if not result.usable]
    return Grid(
        caption="Strips left out as evidence, and why",
        columns=(Column(head="strip", keep=True), Column(head="run", keep=True), Column(head="why")),
        rows=tuple(
            (
                Cell(text=one.strip.name, tone="strong"),
                Cell(text=one.strip.run or "none"),
                Cell(text=one.why or "not said"),
            )
            for one in out
        ),
        empty=("None: every strip that was read counts." if room.results else "No strips were read for this roll."),
    )


def _fill_profiles(page: ShownPage, profiles: StripProfiles) -> None:
    if any(one.changes.series.points for one in profiles.series):
        page.figure(
            "profiles",
            PageFigure(
                svg=draw_profiles(profiles), caption=profiles_caption(profiles), data=(profiles_grid(profiles),)
            ),
            "departures from aim by place",
        )
        page.text(PROFILES_GUIDE)
    else:
        page.setting("no-profiles", " ".join(change_sentences(profiles)))
    page.table("changes", changes_grid(profiles))


def _fill_processors(page: ShownPage, room: StripRoom) -> None:
    states = {(state.processor.name, state.run): state for state in room.processors}
    page.table("processors", processors_grid(list(states.values())))
    for number, state in enumerate(states.values(), start=1):
        if state.runs:
            picture = PageFigure(
                svg=draw_processor(state, key=f"processor-{number}"),
                caption=processor_caption(state),
                data=(charted_grid(state), last_runs_grid(state)),
            )
            page.figure(f"processor-{number}", picture, f"charts of {state.processor.name}")
