"""The comparison as a table for a page and as a plot of speed against recall."""

import platform
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import matplotlib as mpl
from matplotlib.figure import Figure

from scanning.pipelines import OURS
from scanning.score import Score
from scanning.webs import SETS

__all__ = ["Row", "draw", "table"]

_TARGETED = 3
"""The first three sets belong to the comparison; the last is there to be seen."""
OUR_COLOUR, THEIR_COLOUR = "#b3261e", "#2b4c7e"


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One way to find marks as it was measured; speed in Mpx/s."""

    name: str
    library: str
    straight: bool
    speed: float
    scores: list[Score]
    peak_mb: float | None = None

    @property
    def recall(self) -> float:
        """The least of the sets."""
        return min(score.recall for score in self.scores[:_TARGETED])

    @property
    def precision(self) -> float:
        """The least of the sets."""
        return min(score.precision for score in self.scores[:_TARGETED])

    def keeps_up(self, ours: "Row") -> bool:
        """Reaches 0.95 of our recall and of our precision in every set."""
        pairs = list(zip(self.scores, ours.scores, strict=True))[:_TARGETED]
        return all(a.recall >= 0.95 * b.recall and a.precision >= 0.95 * b.precision for a, b in pairs)


def table(rows: list[Row], floor: float) -> str:
    """Markdown with the day and the machine."""
    head = ["pipeline", "Mpx/s", "ours over it", *(f"recall, {one.name}" for one in SETS), "least precision", "peak MB"]
    ours = rows[0].speed
    lines = [
        f"{datetime.now(UTC).date().isoformat()} · {_machine()} · one core · Python {platform.python_version()}",
        "",
        f"| {' | '.join(head)} |",
        "|---" + "|--:" * (len(head) - 1) + "|",
    ]
    for row in rows:
        name = f"**{row.name}**" if row.name == OURS else row.name
        memory = "" if row.peak_mb is None else f"{row.peak_mb:.0f}"
        recalls = [f"{score.recall:.3f}" for score in row.scores]
        cells = [name, f"{row.speed:.0f}", f"{ours / row.speed:.1f}", *recalls, f"{row.precision:.3f}", memory]
        lines.append(f"| {' | '.join(cells)} |")
    lines.append(f"| bare sum of each column | {floor:.0f} | {ours / floor:.2f} |{' |' * (len(head) - 3)}")
    return "\n".join(lines)


def draw(rows: list[Row], floor: float, file: Path) -> None:
    """Speed, logarithmic, beside the least recall of the sets, from the slowest to the quickest."""
    mpl.rcParams["svg.hashsalt"] = "wideroll"
    ranked = sorted(rows, key=lambda row: row.speed)
    figure = Figure(figsize=(9.0, 0.34 * len(rows) + 1.3), layout="constrained")
    speeds, recalls = figure.subplots(1, 2, sharey=True, width_ratios=[5, 2])
    for place, row in enumerate(ranked):
        ours = row.name == OURS
        look = {"marker": "D" if ours else "o", "color": OUR_COLOUR if ours else THEIR_COLOUR, "markersize": 7}
        look |= {"fillstyle": "none" if row.straight else "full"}
        speeds.plot(row.speed, place, **look)
        speeds.annotate(
            f"{row.speed:.0f}", (row.speed, place), (8, 0), textcoords="offset points", va="center", fontsize=9
        )
        recalls.plot(row.recall, place, **look)
    speeds.axvline(floor, color="#666666", linestyle="--", linewidth=1.0)
    speeds.annotate(
        f"bare sum\n{floor:.0f}", (floor, 0), (-4, 0), textcoords="offset points", ha="right", va="center", fontsize=9
    )
    speeds.set_xscale("log")
    speeds.set_xlim(ranked[0].speed / 1.6, floor * 1.6)
    speeds.set_yticks(range(len(ranked)), [row.name for row in ranked])
    speeds.set_xlabel("Mpx/s on one core (open: straight, full: tuned)")
    recalls.set_xlim(-0.05, 1.05)
    recalls.set_xlabel("least recall of three sets")
    for axes in (speeds, recalls):
        axes.grid(axis="both", color="#dddddd", linewidth=0.6)
        axes.set_axisbelow(True)
        axes.spines[["top", "right"]].set_visible(False)
    file.parent.mkdir(parents=True, exist_ok=True)
    figure.savefig(file, dpi=130, metadata={"Date": None} if file.suffix == ".svg" else None)


def _machine() -> str:
    try:
        lines = Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines()
    except OSError:
        lines = []
    names = [line.partition(":")[2].strip() for line in lines if line.startswith("model name")]
    return names[0] if names else platform.processor() or platform.machine()
