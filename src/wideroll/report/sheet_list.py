"""The list of sheets to take, as a page to print and carry to the slitter."""

from dataclasses import dataclass
from typing import Final

from wideroll.report.canvas import web_axes
from wideroll.report.grid import Grid
from wideroll.report.page import page_template
from wideroll.report.sampling_grids import sheets_grid
from wideroll.report.svg import to_svg
from wideroll.report.theme import INK, SERIES, SMALL_PT, VERDICTS, drawing
from wideroll.sampling import SheetPlan, SheetReason

__all__ = ["SheetListHead", "draw_sheet_plan", "render_sheet_list", "sheet_plan_caption"]

_MAP_IN: Final = 1.3


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetListHead:
    """What stands above the list: the roll, its plant, the edge places are measured from, and why so many sheets."""

    roll: str
    product: str
    plant: str
    datum_edge: str
    why: str


def render_sheet_list(plan: SheetPlan, head: SheetListHead) -> str:
    """One self-contained HTML text, the same bytes for the same plan."""
    grid: Grid = sheets_grid(plan)
    return page_template("sheet_list.html.j2").render(
        head=head,
        grid=grid,
        picture=draw_sheet_plan(plan, head.datum_edge),
        caption=sheet_plan_caption(plan),
        seed=plan.seed,
        styles=VERDICTS,
        page_foot=f"Roll {head.roll}: sheets to take, seed {plan.seed}",
    )


def sheet_plan_caption(plan: SheetPlan) -> str:
    """How many sheets, what they cover, and the seed."""
    drawn = sum(sheet.reason is SheetReason.RANDOM for sheet in plan.sheets)
    beside = len(plan.sheets) - drawn
    across = f", in {plan.columns} columns across" if plan.columns > 1 else ""
    share = 100.0 * plan.area_m2 / plan.whole.area_m2
    return (
        f"{drawn} sheets drawn at random (seed {plan.seed}{across}) and {beside} beside batch borders and splices: "
        f"{plan.area_m2:.2f} m², {share:.2g} % of the roll."
    )


def draw_sheet_plan(plan: SheetPlan, datum_edge: str) -> str:
    """The web with each sheet at its place, wider along than it is, and its number; squares stand beside borders."""
    with drawing():
        whole = plan.whole
        figure, axes = web_axes(whole, height_in=_MAP_IN, above_in=0.32, below_in=0.55, datum_edge=datum_edge)
        for rank, sheet in enumerate(plan.sheets):
            extent, drawn = sheet.extent, sheet.reason is SheetReason.RANDOM
            middle = (extent.along_from_m + extent.along_to_m) / 2.0
            colour = INK if drawn else SERIES
            axes.plot(
                [middle] * 2,
                [extent.across_from_mm, extent.across_to_mm],
                color=colour,
                linewidth=1.6 if drawn else 1.0,
            )
            across = (extent.across_from_mm + extent.across_to_mm) / 2.0
            axes.plot([middle], [across], linestyle="", marker="o" if drawn else "s", markersize=3, color=colour)
            axes.annotate(
                sheet.name,
                (middle, whole.across_to_mm),
                xytext=(0, 4 + 8 * (rank % 2)),
                textcoords="offset points",
                ha="center",
                va="bottom",
                fontsize=SMALL_PT,
                color=colour,
                annotation_clip=False,
            )
        return to_svg(figure, key="sheet-plan", title="Sheets to take", description=sheet_plan_caption(plan))
