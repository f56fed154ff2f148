"""What the control charts of the lab's processors say of a process run.

A run beyond a limit of its processor's charts is void; a run rule only warns. Over the nine charts of a colour film run
rules would rule out far more good runs than the limits do (bench/sensitometry_processors.py counts them), so they are
a reason to look at the processor before it is out of control.
"""

from collections.abc import Mapping, Sequence

from wideroll.control import JointChart, joint_chart
from wideroll.errors import InputError
from wideroll.sensitometry import ProcessPoint
from wideroll.workflow.processor_model import (
    ChartedQuantity,
    ProcessedRun,
    Processor,
    ProcessorHistory,
    ProcessorRun,
    ProcessorState,
    Standing,
)

__all__ = ["chart_run", "chart_runs", "processor_state", "quantities_words"]


def processor_state(history: ProcessorHistory) -> ProcessorState:
    """A processor at the last run of its history.

    Raises:
        InputError: when limits can't be set, since a quantity doesn't vary over the base period.
    """
    if not history.runs:
        return ProcessorState(
            processor=history.processor, run="", standing=Standing.TOO_FEW, why="no run is in its history yet"
        )
    return chart_run(history.processor, history.runs)


def chart_runs(
    histories: Sequence[ProcessorHistory],
    processed: Sequence[ProcessedRun],
    points: Mapping[str, tuple[ProcessPoint, ...]],
) -> tuple[ProcessorState, ...]:
    """Each run of a roll on the charts of the processor it went through, as that was then.

    A run stands where the history has it, else after all that was processed before it; what came later is left out, so
    that the finding doesn't change as the lab goes on. Its values are those read off the roll's own reference strips.

    Args:
        histories: of all processors.
        processed: runs of the roll, each with its processor.
        points: read off the reference strips of each run; empty where none could be read.

    Raises:
        InputError: when a run's processor isn't known, the history has another date for it, or its records aren't
            those that are charted.
    """
    known = {history.processor.name: history for history in histories}
    lines = {name: list(history.runs) for name, history in known.items()}
    for one in sorted(processed, key=lambda run: run.processed_on):
        if one.processor not in known:
            raise InputError(
                where=f"strips/runs.csv, run {one.run}",
                rule=f"the processor must be one of processors.toml's: {', '.join(known) or 'none'}",
                value=one.processor,
                mend="Correct its name, or add the processor.",
            )
        if points[one.run]:
            _place(lines[one.processor], one, points[one.run])
    states: list[ProcessorState] = []
    for one in processed:
        processor, line = known[one.processor].processor, lines[one.processor]
        mine = points[one.run]
        if not mine:
            why = "no reference strip of it could be read"
            states.append(ProcessorState(processor=processor, run=one.run, standing=Standing.NOT_READ, why=why))
            continue
        end = next(place for place, run in enumerate(line, 1) if run.run == one.run)
        states.append(chart_run(processor, line[:end], mine))
    return tuple(states)


def chart_run(
    processor: Processor, runs: Sequence[ProcessorRun], points: tuple[ProcessPoint, ...] = ()
) -> ProcessorState:
    """The last of some runs on the charts of its processor.

    Args:
        processor: whose charts.
        runs: in the order of time; the last is judged.
        points: the last run's, where its uncertainties are known.

    Raises:
        InputError: as ``processor_state``; also when an earlier run lacks a quantity of the last.
    """
    quantities = tuple(runs[-1].values)
    for run in runs:
        missing = [quantity for quantity in quantities if quantity not in run.values]
        if missing:
            raise InputError(
                where=f"processors/{processor.name}.csv, run {run.run}",
                rule=f"each run is charted by the same quantities as run {runs[-1].run}",
                value=f"no {' or '.join(_named(one) for one in missing)}",
                mend="Name the processor that the run went through, or chart those records too.",
            )
    series = [[run.values[quantity] for run in runs] for quantity in quantities]
    for quantity, row in zip(quantities, series, strict=True):
        if len(row) > processor.baseline_runs and len(set(row[:-1])) == 1:
            raise InputError(
                where=f"processors/{processor.name}.csv",
                rule=f"{_named(quantity)} must vary over the base period, or no limit can be set by it",
                value=row[0],
                mend="Write densities to three decimals.",
            )
    adjusted = [place for place, run in enumerate(runs) if run.adjusted]
    chart = joint_chart(series, baseline=processor.baseline_runs, false_alarm=processor.false_alarm, restarts=adjusted)
    standing, why = _standing(processor, runs, quantities, chart)
    return ProcessorState(
        processor=processor,
        run=runs[-1].run,
        standing=standing,
        why=why,
        warnings=_warnings(quantities, chart),
        runs=tuple(runs),
        quantities=quantities,
        chart=chart,
        points=points,
    )


def quantities_words(quantities: Sequence[ChartedQuantity]) -> str:
    """Several quantities in few words.

    Example:
        >>> from wideroll.sensitometry import ProcessQuantity, Record
        >>> fog, speed = ProcessQuantity.MINIMUM, ProcessQuantity.SPEED
        >>> quantities_words([(Record.RED, fog), (Record.GREEN, fog), (Record.RED, speed)])
        'minimum density (red, green), speed density (red)'
    """
    records: dict[str, list[str]] = {}
    for record, quantity in quantities:
        records.setdefault(quantity.value, []).append(record.value)
    return ", ".join(f"{quantity} ({', '.join(names)})" for quantity, names in records.items())


def _warnings(quantities: Sequence[ChartedQuantity], chart: JointChart) -> tuple[str, ...]:
    by_rule: dict[str, list[ChartedQuantity]] = {}
    for number, rule in chart.warnings:
        by_rule.setdefault(rule, []).append(quantities[number])
    return tuple(f"{rule}: {quantities_words(broken)}" for rule, broken in by_rule.items())


def _standing(
    processor: Processor, runs: Sequence[ProcessorRun], quantities: Sequence[ChartedQuantity], chart: JointChart
) -> tuple[Standing, str]:
    newest, action = runs[-1].values, processor.action_density
    beyond = {quantities[number]: chart.charts[number].limits for number in chart.beyond}
    broken = [(f"limits {_signed(limits.low)} to {_signed(limits.high)}", one) for one, limits in beyond.items()]
    if action is not None:
        far = [one for one in quantities if abs(newest[one]) > action and one not in beyond]
        broken += [(f"action limits ± {action:g}", one) for one in far]
    if broken:
        rule, worst = max(broken, key=lambda part: abs(newest[part[1]]))
        others = [one for _, one in broken if one != worst]
        also = f"; also beyond: {quantities_words(others)}" if others else ""
        return Standing.OUT_OF_CONTROL, f"{_named(worst)} {_signed(newest[worst])}, {rule}{also}"
    if not chart.charts:
        since = " since it was adjusted" if runs[chart.start].adjusted else ""
        count = len(chart.baseline)
        good = f"{count} good {'run' if count == 1 else 'runs'}"
        return Standing.TOO_FEW, f"{good} before this one{since}, fewer than the {chart.wanted} its limits need"
    return (Standing.WARNING if chart.warnings else Standing.IN_CONTROL), ""


def _place(line: list[ProcessorRun], one: ProcessedRun, points: Sequence[ProcessPoint]) -> None:
    """Put a run of the roll into the line of its processor, or its own values where it is there already."""
    values = {(point.record, point.quantity): point.value for point in points}
    for place, there in enumerate(line):
        if there.run == one.run:
            if there.processed_on != one.processed_on:
                raise InputError(
                    where=f"strips/runs.csv, run {one.run}",
                    rule=f"the history of processor {one.processor} has the run on {there.processed_on}",
                    value=one.processed_on,
                    mend="Correct one of the two dates, or the name of the run.",
                )
            line[place] = ProcessorRun(
                run=one.run,
                processed_on=one.processed_on,
                values=values,
                adjusted=there.adjusted,
                note=there.note,
            )
            return
    end = sum(run.processed_on <= one.processed_on for run in line)
    line.insert(end, ProcessorRun(run=one.run, processed_on=one.processed_on, values=values))


def _named(quantity: ChartedQuantity) -> str:
    record, what = quantity
    return f"{record.value} {what.value}"


def _signed(density: float) -> str:
    return f"{density:+.3f}".replace("-", "−")
