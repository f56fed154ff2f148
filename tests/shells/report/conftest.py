"""A whole assessment made by hand, so that figures and sheets can be drawn without the rooms' functions."""

from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from wideroll.examination.model import (
    FilterColour,
    Layer,
    LayerPosterior,
    Match,
    Matching,
    Origin,
    OriginFinding,
    Seen,
    Sheet,
    Sighting,
)
from wideroll.release.model import (
    Consequence,
    Criterion,
    Decision,
    Evidence,
    Finding,
    Measurand,
    Missing,
    Reason,
    RegionVerdict,
    Verdict,
)
from wideroll.repeats.model import ANOTHER, Candidate, Roller, Series, SeriesSearch, SeriesSettings
from wideroll.roll import MARKS_SCHEMA, Coverage, Extent, MarkKind, Place, Polarity, Unseen, empty_marks, mark_id
from wideroll.scan.model import Overview, ScanResult, ScanSettings, Streak
from wideroll.sensitometry.model import (
    Aims,
    Construction,
    Curve,
    CurveFit,
    Deviation,
    FilmType,
    Measure,
    Record,
    RunVerdict,
    Strip,
    StripKind,
    StripResult,
)
from wideroll.slitting.model import (
    Avoid,
    ByLength,
    ByMetre,
    CountLimit,
    CutPlan,
    CutRules,
    FinishedLength,
    FinishedRoll,
    Loss,
    Piece,
    Quality,
    Run,
    SlitWidth,
    Spliced,
)
from wideroll.workflow.model import (
    Assessment,
    Batch,
    Examination,
    Examined,
    Plant,
    Product,
    RollCard,
    Scanner,
    StripRoom,
)

LENGTH_M, WIDTH_MM = 42.0, 1380.0
STREAK_MM, STREAK_FROM_M = 612.0, 18.2
SERIES_MM, SPACING_M, PHASE_M = 905.0, 0.7482, 0.31
LOG_H = np.arange(-3.4, -0.39, 0.15)
RICHARDS = {Record.RED: (0.24, 2.0, -1.9, 1.35, 0.8), Record.GREEN: (0.63, 2.1, -1.9, 1.4, 0.8)}
RICHARDS |= {Record.BLUE: (0.86, 2.2, -1.8, 1.45, 0.8)}


def _box(along_from, along_to, across_from=0.0, across_to=WIDTH_MM):
    return Extent(along_from_m=along_from, along_to_m=along_to, across_from_mm=across_from, across_to_mm=across_to)


WHOLE = _box(0.0, LENGTH_M)


def _marks_table():
    generator = np.random.Generator(np.random.PCG64(7))
    rows = []

    def add(along, across, kind=MarkKind.SPOT, polarity=Polarity.DARK):
        size = float(generator.lognormal(-1.1, 0.6))
        rows.append(
            {
                "id": mark_id(source="line-1", along_m=along, across_mm=across, polarity=polarity),
                "along_m": along,
                "across_mm": across,
                "length_mm": size,
                "width_mm": size * float(generator.uniform(0.6, 1.1)),
                "area_mm2": size * size * 0.7,
                "contrast": float(generator.uniform(0.03, 0.4)),
                "snr": float(generator.uniform(6, 60)),
                "peak": 0.5,
                "elongation": 1.2,
                "angle_deg": 0.0,
                "ring": 0.0,
                "polarity": polarity.value,
                "kind": kind.value,
                "rule": "invented",
                "source": "line-1",
            }
        )

    kinds = (MarkKind.SPOT,) * 8 + (MarkKind.COMET, MarkKind.BUBBLE, MarkKind.PINHOLE)
    for _ in range(170):
        kind = kinds[int(generator.integers(len(kinds)))]
        polarity = Polarity.BRIGHT if kind is MarkKind.PINHOLE else Polarity.DARK
        add(float(generator.uniform(0, LENGTH_M)), float(generator.uniform(8, WIDTH_MM - 8)), kind, polarity)
    for _ in range(120):
        add(float(generator.uniform(8.0, 10.0)), float(generator.uniform(8, WIDTH_MM - 8)))
    turns = []
    for turn in range(int((LENGTH_M - PHASE_M) / SPACING_M) + 1):
        if generator.uniform() < 0.85:
            turns.append((turn, len(rows)))
            jitter = float(generator.normal(0, 0.002))
            add(PHASE_M + turn * SPACING_M + jitter, SERIES_MM + float(generator.normal(0, 0.8)))
    return pl.DataFrame(rows, schema=MARKS_SCHEMA), turns


def _scan_result(marks):
    cells = np.ones((42, 14), dtype=np.float32)
    return ScanResult(
        marks=marks,
        streaks=(
            Streak(
                extent=_box(STREAK_FROM_M, LENGTH_M, STREAK_MM - 0.6, STREAK_MM + 0.6),
                across_mm=STREAK_MM,
                width_mm=1.2,
                contrast=-0.021,
                contrast_low=-0.024,
                contrast_high=-0.018,
                snr=31.0,
                polarity=Polarity.DARK,
                whole_length=False,
            ),
        ),
        coverage=Coverage(
            seen=(WHOLE,),
            unseen=(
                Unseen(extent=_box(0.0, LENGTH_M, 0.0, 4.0), why="edge bead"),
                Unseen(extent=_box(0.0, LENGTH_M, WIDTH_MM - 4.0, WIDTH_MM), why="edge bead"),
                Unseen(extent=_box(25.0, 26.4, 250.0, 700.0), why="scanner blinded by a reflection"),
            ),
        ),
        overview=Overview(mean=cells, worst=cells, cell_m=1.0, cell_mm=100.0, extent=WHOLE),
        settings=ScanSettings(source="line-1"),
        pitch_mm=(0.3, 0.3),
        lines=140_000,
        columns=4_640,
        web_width_mm=WIDTH_MM,
        noise=0.0123,
    )


def _richards(parameters, log_h):
    low, rise, b, k, q = parameters
    return low + rise / (1.0 + np.exp(b - k * log_h)) ** (1.0 / q)


def _aims():
    x = np.arange(-3.6, -0.15, 0.1)
    curves = {record: Curve(log_h=x, density=_richards(p, x)) for record, p in RICHARDS.items()}
    return Aims(film_type=FilmType.COLOUR_NEGATIVE, curves=curves, tolerance_density=0.06)


def _measure(name, value, unit, record, half=0.01, **rest):
    return Measure(name=name, value=value, low=value - half, high=value + half, unit=unit, record=record, **rest)


def _strip_result(name, run, along_m, shift=0.0, why=""):
    generator = np.random.Generator(np.random.PCG64(sum(name.encode())))
    fits, density, measures, deviations = {}, {}, [], []
    for record, base in RICHARDS.items():
        low, rise, b, k, q = base
        parameters = np.array((low + 0.01, rise, b + shift, k, q))
        read = _richards(parameters, LOG_H) + generator.normal(0, 0.006, LOG_H.size)
        read[3] += 0.11 if record is Record.GREEN else 0.0
        used = np.ones(LOG_H.size, dtype=bool)
        used[3] = record is not Record.GREEN
        used[-1] = False
        read[-1] = np.nan
        density[record] = read
        fits[record] = CurveFit(
            parameters=parameters,
            covariance=np.eye(5) * 1e-5,
            log_h=LOG_H,
            density=read,
            used=used,
            residual_sd=0.006,
            degrees_of_freedom=14,
        )
        fine = np.linspace(-3.4, -0.4, 1000)
        curve = _richards(parameters, fine)
        speed = float(np.interp(low + 0.01 + 0.15, curve, fine))
        far = float(np.interp(speed + 1.0, fine, curve))
        slope = far - (low + 0.16)
        measures += [
            _measure(
                "speed point",
                speed,
                "log H",
                record,
                construction=Construction(
                    points=((speed, low + 0.16),), lines=(((speed - 0.3, low + 0.16), (speed, low + 0.16)),)
                ),
            ),
            _measure(
                "average gradient",
                slope,
                "",
                record,
                construction=Construction(
                    points=((speed + 1.0, far),), lines=(((speed, low + 0.16), (speed + 1.0, far)),)
                ),
            ),
        ]
        deviations.append(
            Deviation(
                record=record,
                speed_log_h=_measure("speed shift", shift / k, "log H", record),
                contrast=_measure("contrast shift", 0.012, "", record),
                dmin_density=_measure("minimum density", 0.010, "density", record, half=0.004),
                worst_density=_measure("worst density", 0.02 + abs(shift) * 0.4, "density", record),
            )
        )
    strip = Strip(
        name=name,
        kind=StripKind.CHECK,
        run=run,
        log_h=LOG_H,
        density=density,
        place=Place(along_m=along_m, across_mm=690.0),
    )
    return StripResult(
        strip=strip,
        fits=fits,
        measures=tuple(measures),
        deviations=tuple(deviations),
        usable=not why,
        why=why,
    )


def _strip_room():
    results = (
        _strip_result("A-1", "P-301", 2.0),
        _strip_result("A-2", "P-301", 14.0, 0.02),
        _strip_result("B-1", "P-301", 31.0, 0.21),
        _strip_result("B-2", "P-302", 38.0, 0.05, "its process run P-302 is void"),
    )
    runs = (
        RunVerdict(
            run="P-301",
            usable=True,
            why="reference within 0.02 density of its aims",
            reference_strips=("R-11", "R-12"),
            void_strips=(),
            shift_density={},
        ),
        RunVerdict(
            run="P-302",
            usable=False,
            why="reference 0.14 density above its aim in blue, limit 0.06",
            reference_strips=("R-13",),
            void_strips=("B-2",),
            shift_density={},
        ),
    )
    return StripRoom(strips=tuple(result.strip for result in results), runs=runs, results=results)


def _series_search(marks, turns):
    series = Series(
        spacing_m=SPACING_M,
        spacing_low_m=SPACING_M - 0.0002,
        spacing_high_m=SPACING_M + 0.0002,
        phase_m=PHASE_M,
        across_mm=SERIES_MM,
        extent=_box(PHASE_M, 41.5, SERIES_MM - 3, SERIES_MM + 3),
        members=tuple(row for _, row in turns),
        turns=tuple(turn for turn, _ in turns),
        print_probability=0.86,
        drift=0.0004,
        log_evidence=140.0,
        false_alarm=1e-12,
        candidates=(
            Candidate(roller="guide G4", probability=0.93, slip=0.0009),
            Candidate(roller="guide G7", probability=0.05, slip=-0.0061),
            Candidate(roller=ANOTHER, probability=0.02, slip=0.0),
        ),
    )
    return SeriesSearch(
        series=(series,),
        marks=marks.height,
        lanes=230,
        trials=7_490,
        length_m=LENGTH_M,
        observed=((0.0, LENGTH_M),),
        settings=SeriesSettings(),
    )


def _examination(marks):
    sheets = tuple(
        Sheet(name=name, extent=_box(at, at + 0.4, across, across + 300.0), examiner=examiner)
        for name, at, across, examiner in (
            ("S1", 6.0, 100.0, "E1"),
            ("S2", 20.0, 760.0, "E1"),
            ("S3", 36.0, 450.0, "E2"),
        )
    )
    through = {FilterColour.RED: Seen.DARKER, FilterColour.GREEN: Seen.SAME, FilterColour.BLUE: Seen.SAME}

    def sighting(sheet, along, across, note="", **rest):
        return Sighting(
            sheet=sheet,
            kind=MarkKind.SPOT,
            place=Place(along_m=along, across_mm=across),
            size_mm=0.45,
            through=through,
            note=note,
            **rest,
        )

    def layer(likeliest, probability, *, excess=True):
        others = [one for one in Layer if one is not likeliest]
        spread = {one: (1.0 - probability) / len(others) for one in others}
        return LayerPosterior(probability={likeliest: probability} | spread, excess=excess)

    examined = (
        Examined(
            sighting=sighting("S1", 6.21, 238.125, "tiny <script>alert(1)</script> ring", grade="B"),
            layer=layer(Layer.CYAN, 0.94),
            origin=OriginFinding(origin=Origin.WEB, why="seen by the scanner too, 0.4 mm away"),
        ),
        Examined(
            sighting=sighting("S2", 20.10, 905.2, metallic=True, embedded=True),
            layer=layer(Layer.OPAQUE, 0.88, excess=None),
            origin=OriginFinding(origin=Origin.WEB, why="embedded; lies on repeat 1"),
        ),
        Examined(
            sighting=sighting("S3", 36.02, 512.0, wipes_off=True, embedded=False),
            layer=layer(Layer.SURFACE, 0.97, excess=None),
            origin=OriginFinding(origin=Origin.HANDLING, why="on top, wipes off, not in the scan"),
        ),
    )
    matching = Matching(
        matches=(Match(sighting=0, mark_id=marks["id"][0] if marks.height else "0", distance_mm=0.4),),
        only_examiner=(1,),
        only_scanner=("aa11",),
        total=4.0,
        total_low=3.0,
        total_high=11.5,
        hidden=1.0,
    )
    return Examination(sheets=sheets, examined=examined, matching=matching)


CRITERIA = (
    Criterion(
        name="Spots of 0.3 mm and over",
        measurand=Measurand.MARK_RATE,
        limit=6.0,
        unit="per m²",
        consequence=Consequence.REJECT,
    ),
    Criterion(
        name="Spots in a stretch of 1 m",
        measurand=Measurand.LOCAL_MARK_RATE,
        limit=15.0,
        unit="per m²",
        consequence=Consequence.CUT_OUT,
    ),
    Criterion(
        name="Streak contrast",
        measurand=Measurand.FLAW,
        limit=0.8,
        unit="%",
        kinds=("streak",),
        consequence=Consequence.CUT_OUT,
    ),
    Criterion(name="Speed, red", measurand=Measurand.READING, limit=0.05, unit="log H", consequence=Consequence.HOLD),
    Criterion(name="Speed, blue", measurand=Measurand.READING, limit=0.05, unit="log H", consequence=Consequence.HOLD),
    Criterion(
        name="Share scanned", measurand=Measurand.COVERAGE, limit=0.98, unit="share", consequence=Consequence.HOLD
    ),
    Criterion(
        name="Metal particles",
        measurand=Measurand.FORBIDDEN,
        limit=0.0,
        unit="sightings",
        consequence=Consequence.HOLD,
    ),
    Criterion(
        name="Usable strips in each batch",
        measurand=Measurand.EVIDENCE_COUNT,
        limit=2.0,
        unit="strips",
        consequence=Consequence.HOLD,
    ),
    Criterion(
        name="Static marks",
        measurand=Measurand.FORBIDDEN,
        limit=0.0,
        unit="marks",
        consequence=Consequence.HOLD,
    ),
)


def _finding(rank, extent, found, low, high, margin, verdict, reason, why, source):
    criterion = CRITERIA[rank]
    return Finding(
        criterion=criterion.name,
        extent=extent,
        limit=criterion.limit,
        found=found,
        low=low,
        high=high,
        margin=margin,
        unit=criterion.unit,
        verdict=verdict,
        reason=reason,
        why=why,
        source=source,
    )


def _decision(coverage):
    good, hold, cut = Verdict.RELEASE, Verdict.HOLD, Verdict.CUT_OUT
    within, above = Reason.WITHIN_LIMIT, Reason.ABOVE_LIMIT
    findings = (
        _finding(0, WHOLE, 3.12, 2.67, 3.62, 2.88, good, within, "3.1 found, at most 6", "scan line-1"),
        _finding(
            1, _box(8.0, 9.0), 43.5, 33.2, 55.9, -28.5, cut, above, "43.5 per m² found, at most 15", "scan line-1"
        ),
        _finding(
            1, _box(9.0, 10.0), 44.2, 33.8, 56.7, -29.2, cut, above, "44.2 per m² found, at most 15", "scan line-1"
        ),
        _finding(
            2,
            _box(STREAK_FROM_M, LENGTH_M, STREAK_MM - 3, STREAK_MM + 3),
            2.1,
            1.8,
            2.4,
            -1.3,
            cut,
            above,
            "a streak of 2.1 % starts at 18.2 m",
            "scan line-1",
        ),
        _finding(3, _box(0.0, 21.0), 0.012, 0.003, 0.021, 0.038, good, within, "within", "strips A-1, A-2"),
        _finding(
            4,
            _box(21.0, LENGTH_M),
            -0.041,
            -0.062,
            -0.02,
            0.009,
            hold,
            Reason.NOT_PROVEN,
            "the interval reaches beyond the limit",
            "strip B-1",
        ),
        _finding(
            5,
            WHOLE,
            0.979,
            0.979,
            0.979,
            -0.001,
            hold,
            Reason.NOT_LOOKED_AT,
            "97.9 % scanned, at least 98 %",
            "scan line-1",
        ),
        _finding(
            6,
            WHOLE,
            1.0,
            1.0,
            1.0,
            -1.0,
            hold,
            Reason.FORBIDDEN_FOUND,
            "one metallic sighting on sheet S2",
            "examination",
        ),
        _finding(
            7,
            _box(21.0, LENGTH_M),
            1.0,
            1.0,
            1.0,
            -1.0,
            hold,
            Reason.EVIDENCE_VOID,
            "one strip, two wanted: run P-302 is void",
            "strips",
        ),
    )
    regions = (
        RegionVerdict(extent=_box(8.0, 10.0), verdict=cut, findings=(1, 2), why="dirty stretch: 44 spots per m²"),
        RegionVerdict(
            extent=_box(STREAK_FROM_M, LENGTH_M, STREAK_MM - 12, STREAK_MM + 12),
            verdict=cut,
            findings=(3,),
            why="streak of 2.1 % contrast",
        ),
        RegionVerdict(extent=_box(21.0, LENGTH_M), verdict=hold, findings=(5, 8), why="batch B: speed not proven"),
    )
    missing = (
        Missing(
            subject="strips of batch B",
            extent=_box(21.0, LENGTH_M),
            void=True,
            why="process run P-302 is void: its reference strip is 0.14 above aim in blue",
            mend="Repeat strip B-2 in a run whose reference is within limits.",
        ),
        Missing(
            subject="second examiner",
            extent=WHOLE,
            void=False,
            why="sheets S1 and S2 were seen by one examiner only",
            mend="Have another examiner look at them.",
        ),
    )
    return Decision(
        verdict=hold,
        why="Batch B is not proven on aim: one of its two strips is void; one metal particle was seen.",
        findings=findings,
        regions=regions,
        missing=missing,
        coverage=coverage,
        released_share=0.451,
        criteria=CRITERIA,
    )


def _cut_plan():
    width = SlitWidth(name="35", width_mm=34.975, tolerance_mm=0.025, finish=ByMetre(value_per_m=1.1))
    lanes = tuple(("35", 8.0 + lane * 34.975, 8.0 + (lane + 1) * 34.975) for lane in range(39))
    clear = tuple(lane for lane in lanes if not (lane[1] < STREAK_MM + 12 and lane[2] > STREAK_MM - 12))
    runs = (
        Run(along_from_m=0.0, along_to_m=8.0, lanes=lanes, knife_set=3),
        Run(along_from_m=10.0, along_to_m=18.2, lanes=lanes, knife_set=2),
        Run(along_from_m=20.2, along_to_m=42.0, lanes=clear, knife_set=1),
    )
    pieces = []
    for run in sorted(runs, key=lambda one: -one.along_to_m):
        for name, start, end in run.lanes:
            extent = _box(run.along_from_m, run.along_to_m, start, end)
            pieces.append(
                Piece(number=f"P{len(pieces) + 1:03d}", width=name, extent=extent, value=extent.length_m * 1.1)
            )
    value = sum(piece.value for piece in pieces)
    return CutPlan(
        whole=WHOLE,
        runs=runs,
        pieces=tuple(pieces),
        value=value,
        bound=value,
        optimal=True,
        losses=(
            Loss(reason="avoided", area_m2=3.31),
            Loss(reason="edge trim", area_m2=0.67),
            Loss(reason="setting the knives anew", area_m2=2.76),
        ),
        cross_cut_candidates=7,
        widths=(width,),
        avoid=(
            Avoid(extent=_box(8.0, 10.0), reason="dirty stretch"),
            Avoid(extent=_box(STREAK_FROM_M, LENGTH_M, STREAK_MM - 12, STREAK_MM + 12), reason="streak"),
        ),
        rules=CutRules(),
    )


def _plant():
    return Plant(
        name="Alder Works line 2",
        web_width_mm=WIDTH_MM,
        datum_edge="operator side",
        rollers=(Roller(name="guide G4", diameter_mm=238.0, tolerance_mm=0.2),),
        scanners={"line-1": Scanner(name="line-1", wavelength_nm=850.0)},
    )


def _product():
    return Product(
        name="Heron 200",
        film_type=FilmType.COLOUR_NEGATIVE,
        sensitisation_nm=((360.0, 690.0),),
        aims=_aims(),
        reference_aims=_aims(),
        process_limit_density=0.06,
        criteria=CRITERIA,
        widths=(SlitWidth(name="35", width_mm=34.975, tolerance_mm=0.025, finish=ByMetre(value_per_m=1.1)),),
        cut_rules=CutRules(),
    )


def _build():
    marks, turns = _marks_table()
    scan = _scan_result(marks)
    seen = _examination(marks)
    coverage = {
        "scan line-1": scan.coverage,
        "examination": Coverage(seen=tuple(sheet.extent for sheet in seen.sheets)),
    }
    return Assessment(
        plant=_plant(),
        product=_product(),
        card=RollCard(
            name="4711",
            product="Heron 200",
            length_m=LENGTH_M,
            batches=(
                Batch(name="A", along_from_m=0.0, along_to_m=21.0),
                Batch(name="B", along_from_m=21.0, along_to_m=LENGTH_M),
            ),
            splices_m=(30.0,),
        ),
        whole=WHOLE,
        scan=scan,
        strip_room=_strip_room(),
        examination=seen,
        repeats=_series_search(marks, turns),
        evidence=Evidence(whole=WHOLE, marks=marks, coverage=coverage, counts={}),
        decision=_decision(coverage),
        plan=_cut_plan(),
        version="0.1.0",
    )


@pytest.fixture(scope="session")
def assessment():
    """Roll 4711: a dirty stretch, a streak from 18.2 m, a repeating mark, an unproven batch, a void run."""
    return _build()


@pytest.fixture(scope="session")
def bare(assessment):
    """The same roll with no scan, no strips, no sheets, no series and no plan."""
    none = SeriesSearch(
        series=(), marks=0, lanes=0, trials=0, length_m=LENGTH_M, observed=(), settings=SeriesSettings()
    )
    return replace(
        assessment,
        scan=None,
        strip_room=StripRoom(),
        examination=Examination(),
        repeats=none,
        evidence=Evidence(whole=WHOLE, marks=empty_marks(), coverage={}, counts={}),
        decision=Decision(
            verdict=Verdict.HOLD,
            why="Nothing is known of this roll.",
            findings=(),
            regions=(),
            missing=(),
            coverage={},
            released_share=0.0,
            criteria=CRITERIA,
        ),
        plan=None,
    )


@pytest.fixture(scope="session")
def dense(assessment):
    """The same roll with 9,000 marks, so that the map bins them."""
    generator = np.random.Generator(np.random.PCG64(11))
    marks = assessment.scan.marks
    many = marks.sample(9_000, with_replacement=True, seed=3).with_columns(
        pl.Series("along_m", LENGTH_M * generator.beta(2.0, 5.0, 9_000)),
        pl.Series("across_mm", generator.uniform(8.0, WIDTH_MM - 8.0, 9_000)),
    )
    none = replace(assessment.repeats, series=(), marks=0)
    return replace(assessment, scan=replace(assessment.scan, marks=many), repeats=none)


def _small_rolls(pieces):
    """One finished roll for each number that pieces name, with what its parts say together."""
    rolls = {}
    for piece in pieces:
        rolls.setdefault(piece.roll, []).append(piece)
    return tuple(
        FinishedRoll(
            number=number,
            width=parts[0].width,
            quality=parts[0].quality,
            length_m=sum(part.extent.length_m for part in parts),
            value=sum(part.value for part in parts),
            pieces=tuple(part.number for part in parts),
            marks=(1 if number == "001-01" else 0,),
        )
        for number, parts in rolls.items()
    )


def _small_cut():
    """100 m of 120 mm: two knife sets with a stop in each, a roll of three parts, a piece of second quality."""
    first = (("35 mm", 5.0, 39.975), ("35 mm spliced", 39.975, 74.95), ("16 mm", 80.0, 95.95))
    then = (("16 mm", 5.0, 20.95), ("35 mm", 20.95, 55.925))
    runs = tuple(
        Run(along_from_m=start, along_to_m=end, lanes=lanes, knife_set=number)
        for start, end, lanes, number in ((0.0, 8.0, then, 2), (8.0, 38.0, then, 2), (40.0, 70.0, first, 1))
    )
    runs = (*runs, Run(along_from_m=70.0, along_to_m=100.0, lanes=first, knife_set=1))
    listed = (
        ("001-01", first[0], 70.0, 100.0, 30.0, "001-01"),
        ("001-02", first[1], 80.0, 100.0, 20.0, "001-02"),
        ("001-03", first[2], 70.0, 100.0, 12.0, "001-03"),
        ("002-02", first[1], 70.0, 75.0, 5.0, "001-02"),
        ("003-01", first[0], 40.0, 70.0, 30.0, "003-01"),
        ("003-02", first[1], 55.0, 70.0, 15.0, "001-02"),
        ("003-03", first[2], 60.0, 70.0, 4.0, "003-03"),
        ("004-03", first[2], 50.0, 60.0, 1.0, "004-03"),
        ("005-03", first[2], 40.0, 50.0, 4.0, "005-03"),
        ("006-01", then[0], 24.0, 38.0, 5.6, "006-01"),
        ("007-01", then[0], 8.0, 20.0, 4.8, "007-01"),
        ("008-01", then[0], 0.0, 8.0, 3.2, "008-01"),
    )
    pieces = tuple(
        Piece(
            number=number,
            width=width,
            extent=_box(start, end, low, high),
            value=value,
            roll=roll,
            quality=Quality.SECOND if number == "004-03" else Quality.FIRST,
        )
        for number, (width, low, high), start, end, value, roll in listed
    )
    spliced = Spliced(length_m=40.0, value=42.0, most_splices=2, least_between_m=5.0, loss_per_splice=1.0)
    return CutPlan(
        whole=_box(0.0, 100.0, 0.0, 120.0),
        runs=runs,
        pieces=pieces,
        rolls=_small_rolls(pieces),
        value=134.6,
        minutes=16.0,
        bound=140.0,
        optimal=False,
        losses=(Loss(reason="edge trim", area_m2=1.0), Loss(reason="left over", area_m2=5.5)),
        cross_cut_candidates=3,
        left_out=1,
        widths=(
            SlitWidth(
                name="35 mm",
                width_mm=34.975,
                tolerance_mm=0.025,
                finish=ByLength(lengths=(FinishedLength(length_m=30.0, value=30.0),)),
            ),
            SlitWidth(name="35 mm spliced", width_mm=34.975, tolerance_mm=0.025, finish=spliced),
            SlitWidth(
                name="16 mm", width_mm=15.95, tolerance_mm=0.025, finish=ByMetre(value_per_m=0.4, second_per_m=0.1)
            ),
        ),
        avoid=(
            Avoid(extent=_box(75.0, 80.0, 45.0, 46.0), reason="cut out: streak"),
            Avoid(extent=_box(50.0, 60.0, 84.0, 88.0), reason="cut out: haze", downgrade=True),
            Avoid(extent=_box(20.0, 24.0, 0.0, 120.0), reason="hold: dirty stretch"),
        ),
        counts=(CountLimit(name="small spots", most=2, marks=(_box(90.0, 90.1, 20.0, 21.0),)),),
        rules=CutRules(
            edge_trim_mm=5.0,
            most_run_m=30.0,
            setup_minutes=10.0,
            stop_minutes=3.0,
            value_per_minute=0.5,
        ),
    )


@pytest.fixture(scope="session")
def small_cut():
    """A cut with all that a cut may have, small enough to be followed by hand."""
    return _small_cut()
