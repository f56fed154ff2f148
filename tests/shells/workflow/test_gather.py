from dataclasses import replace

import pytest

from wideroll.examination import Layer, LayerPosterior, Origin, OriginFinding
from wideroll.release import Missing
from wideroll.repeats import Candidate, Series, SeriesSearch, SeriesSettings
from wideroll.roll import MarkKind, Place, Polarity
from wideroll.scan import Band, Streak, StreakOrigin
from wideroll.sensitometry import Deviation, Measure, Record, RunVerdict, StripResult
from wideroll.workflow import (
    BATCHES,
    SCAN,
    SHEETS,
    STRIPS,
    Batch,
    Examination,
    Examined,
    RoomResults,
    StripRoom,
    batch_extents,
    gather_evidence,
    scan_web,
)

NONE = SeriesSearch(series=(), marks=0, lanes=0, trials=0, length_m=2.0, observed=(), settings=SeriesSettings())


@pytest.fixture
def gather(card, whole):
    """Gather from what is given; the rest of the evidence isn't there."""

    def gather(**parts):
        empty = {"scan": None, "strip_room": StripRoom(), "examination": Examination(), "repeats": NONE}
        product, own = parts.pop("product", None), parts.pop("card", card)
        return gather_evidence(card=own, whole=whole, found=RoomResults(**(empty | parts)), product=product)

    return gather


@pytest.fixture
def result(strip):
    """Make a strip's result with a given deviation of speed, ± 0.01."""

    def result(name, run, along_m, speed, *, usable=True):
        def measure(value, unit):
            return Measure(name="deviation", value=value, low=value - 0.01, high=value + 0.01, unit=unit)

        deviation = Deviation(
            record=Record.VISUAL,
            speed_log_h=measure(speed, "log H"),
            contrast=measure(0.0, "ratio"),
            dmin_density=measure(0.0, "density"),
            worst_density=measure(0.0, "density"),
        )
        return StripResult(
            strip=strip(name, run, along_m),
            fits={},
            measures=(),
            deviations=(deviation,),
            usable=usable,
            why="" if usable else "density spans only 0.01",
        )

    return result


@pytest.fixture
def scanned_streak(whole):
    """A streak from end to end, as the scanner found it."""
    return Streak(
        extent=replace(whole, across_from_mm=50.0, across_to_mm=51.0),
        across_mm=50.5,
        width_mm=1.0,
        contrast=-0.02,
        contrast_low=-0.025,
        contrast_high=-0.015,
        snr=9.0,
        polarity=Polarity.DARK,
        whole_length=True,
    )


def _room(*results, void=()):
    runs = dict.fromkeys(result.strip.run for result in results)
    verdicts = tuple(
        RunVerdict(run=run, usable=run not in void, why="", reference_strips=(), void_strips=(), shift_density={})
        for run in runs
    )
    return StripRoom(strips=tuple(r.strip for r in results), runs=verdicts, results=tuple(results))


def test_nothing_is_known_of_a_bare_roll(gather, whole) -> None:
    """Without any evidence there is no coverage, no flaw and no reading, and the counts of each batch are 0."""
    evidence = gather()
    assert (evidence.whole, evidence.marks.height) == (whole, 0)
    assert (evidence.coverage, evidence.flaws, evidence.readings, evidence.missing) == ({}, (), (), ())
    assert {name: [count for _, count in counts] for name, counts in evidence.counts.items()} == {
        STRIPS: [0, 0],
        SHEETS: [0, 0],
    }


def test_a_batch_is_the_full_width_of_its_stretch(card, whole) -> None:
    """Each batch lies from edge to edge between its metres."""
    extents = [extent for _, extent in batch_extents(card, whole)]
    assert extents == [replace(whole, along_to_m=1.0), replace(whole, along_from_m=1.0)]


def test_coverage_comes_from_scan_and_sheets(gather, raster, sheet) -> None:
    """The scan and the sheets each bring what they looked at; marks are the scan's."""
    scan = scan_web(raster())
    evidence = gather(scan=scan, examination=Examination(sheets=(sheet,)))
    assert evidence.coverage[SCAN] is scan.coverage
    assert evidence.coverage[SHEETS].seen == (sheet.extent,)
    assert evidence.marks is scan.marks


def test_sheets_and_strips_are_counted_by_batch(gather, sheet, result) -> None:
    """A sheet counts for each batch it reaches into, a usable strip for the one it was cut from."""
    across_both = replace(sheet, name="B", extent=replace(sheet.extent, along_from_m=0.9))
    room = _room(
        result("S-1", "P1", 0.999, 0.0),
        result("S-2", "P1", 1.0, 0.0),
        result("S-3", "P1", 1.5, 0.0),
        result("S-4", "P1", 0.5, 0.0, usable=False),
    )
    counts = gather(examination=Examination(sheets=(sheet, across_both)), strip_room=room).counts
    assert [count for _, count in counts[SHEETS]] == [1, 2]
    assert [count for _, count in counts[STRIPS]] == [1, 2]


def test_a_void_run_is_missing_with_the_place_to_repeat(gather, whole, result) -> None:
    """A strip of a void run gives no reading; what is missing names the strip, its batch, its place and the mend."""
    room = _room(result("S-7", "P9", 1.25, 0.0, usable=False), void=("P9",))
    evidence = gather(strip_room=room)
    assert evidence.readings == ()
    (missing,) = evidence.missing
    assert missing.subject == STRIPS
    assert missing.extent == replace(whole, along_from_m=1.0)
    assert missing.void
    assert missing.why.startswith("strip S-7 of batch E-2: ")
    assert "at 1.25 m, 60 mm from the datum edge" in missing.mend
    assert "whose reference strips are within limits" in missing.mend


def test_a_strip_that_says_nothing_is_missing_but_not_void(gather, result) -> None:
    """A strip that can't be used though its run is good is to be exposed again; the run isn't at fault."""
    room = _room(result("S-7", "P1", 0.5, 0.0, usable=False), result("S-8", "P1", 0.6, 0.0))
    (missing,) = gather(strip_room=room).missing
    assert not missing.void
    assert "density spans only" in missing.why
    assert "replaces S-7" in missing.mend


def test_a_stretch_that_no_batch_claims_is_missing(gather, card, whole) -> None:
    """A gap between batches, and the ends of the roll, are named as unknown; a gap below a millimetre isn't one."""
    batches = (
        Batch(name="E-1", along_from_m=0.1, along_to_m=1.0),
        Batch(name="E-2", along_from_m=1.0005, along_to_m=1.4),
        Batch(name="E-3", along_from_m=1.6, along_to_m=2.0),
    )
    missing = gather(card=replace(card, batches=batches)).missing
    assert [(item.subject, item.extent.along_from_m, item.extent.along_to_m) for item in missing] == [
        (BATCHES, 0.0, 0.1),
        (BATCHES, 1.4, 1.6),
    ]
    assert missing[0] == Missing(
        subject=BATCHES,
        extent=replace(whole, along_to_m=0.1),
        void=False,
        why="no batch claims this stretch",
        mend="Say in roll.toml which batch was coated there.",
    )


def _examined(sighting, origin: Origin) -> Examined:
    layer = LayerPosterior(probability={Layer.CYAN: 0.9, Layer.OPAQUE: 0.1}, excess=True)
    return Examined(sighting=sighting, layer=layer, origin=OriginFinding(origin=origin, why="it wipes off"))


def test_handling_dirt_does_not_count(gather, sheet, sighting) -> None:
    """What came by handling isn't held against the film; what came with the coating or is undecided is."""
    examined = tuple(_examined(sighting(), origin) for origin in Origin)
    flaws = gather(examination=Examination(sheets=(sheet,), examined=examined)).flaws
    assert [flaw.kind for flaw in flaws] == ["sighted spot"] * 2
    assert {word for flaw in flaws for word in Origin if f"; {word}: " in flaw.note} == {Origin.WEB, Origin.UNDECIDED}


def test_metal_counts_however_it_came(gather, sheet, sighting) -> None:
    """Metal is told even when it lies on top and wipes off: it hints at wear wherever it was picked up."""
    examined = (_examined(sighting(metallic=True), Origin.HANDLING),)
    (flaw,) = gather(examination=Examination(sheets=(sheet,), examined=examined)).flaws
    assert (flaw.kind, flaw.value, flaw.low, flaw.high, flaw.unit) == ("metal", 0.4, 0.4, 0.4, "mm")
    assert flaw.source == SHEETS
    assert flaw.note == "on A; cyan record; handling: it wipes off"


def test_a_sighting_has_its_size_and_stays_on_its_sheet(gather, sheet, sighting) -> None:
    """The flaw is the square of the mark's size about its place, cut off at the sheet's edge."""
    corner = Place(along_m=1.2, across_mm=0.0)
    examined = (_examined(sighting(), Origin.WEB), _examined(sighting(place=corner, size_mm=2.0), Origin.WEB))
    first, second = gather(examination=Examination(sheets=(sheet,), examined=examined)).flaws
    assert (first.extent.width_mm, first.extent.length_m) == pytest.approx((0.4, 0.0004))
    assert (second.extent.along_from_m, second.extent.across_from_mm) == (1.2, 0.0)
    assert (second.extent.along_to_m, second.extent.across_to_mm) == pytest.approx((1.201, 1.0))


@pytest.mark.parametrize("kind", [MarkKind.BAND, MarkKind.FOG])
def test_what_has_no_border_on_the_sheet_counts_for_all_of_it(gather, sheet, sighting, kind: MarkKind) -> None:
    """A band or fog is held against the whole sheet."""
    examined = (_examined(sighting(kind=kind), Origin.WEB),)
    (flaw,) = gather(examination=Examination(sheets=(sheet,), examined=examined)).flaws
    assert (flaw.kind, flaw.extent) == (f"sighted {kind}", sheet.extent)


def test_a_sighted_streak_counts_for_its_lane(gather, sheet, sighting, whole) -> None:
    """How far a streak runs beyond its sheet isn't known, so its lane is held over the whole roll."""
    examined = (_examined(sighting(kind=MarkKind.STREAK), Origin.WEB),)
    (flaw,) = gather(examination=Examination(sheets=(sheet,), examined=examined)).flaws
    assert (flaw.extent.along_from_m, flaw.extent.along_to_m) == (whole.along_from_m, whole.along_to_m)
    assert (flaw.extent.across_from_mm, flaw.extent.across_to_mm) == pytest.approx((49.8, 50.2))


def test_a_sighted_streak_that_was_scanned_too_is_told_once(gather, sheet, sighting, scanned_streak, raster) -> None:
    """Where the scanner found the streak, it says from where to where; 5 mm beside, it is another one."""
    scan = replace(scan_web(raster()), streaks=(scanned_streak,))
    for across_mm, kinds in ((50.0, ["streak"]), (56.0, ["streak", "sighted streak"])):
        place = Place(along_m=1.3, across_mm=across_mm)
        examined = (_examined(sighting(kind=MarkKind.STREAK, place=place), Origin.WEB),)
        found = gather(scan=scan, examination=Examination(sheets=(sheet,), examined=examined))
        assert [flaw.kind for flaw in found.flaws] == kinds


def test_streaks_in_percent_and_without_sign(gather, raster, scanned_streak) -> None:
    """A streak's contrast comes in percent of either sign, its limits in order; an undecided one says its doubt."""
    streak = replace(scanned_streak, origin=StreakOrigin.UNDECIDED, why="It is there from end to end.")
    bright = replace(scanned_streak, contrast=0.02, contrast_low=0.015, contrast_high=0.025, polarity=Polarity.BRIGHT)
    flaws = gather(scan=replace(scan_web(raster()), streaks=(streak, bright))).flaws
    for flaw in flaws:
        assert (flaw.kind, flaw.unit, flaw.source, flaw.extent) == ("streak", "%", SCAN, streak.extent)
        assert (flaw.value, flaw.low, flaw.high) == pytest.approx((2.0, 1.5, 2.5))
    assert [flaw.note for flaw in flaws] == [
        "undecided between web and scanner: It is there from end to end.",
        "",
    ]


def test_the_scanners_own_streak_is_no_flaw(gather, raster, scanned_streak) -> None:
    """What is known to belong to the scanner doesn't count against the film."""
    own = replace(scanned_streak, origin=StreakOrigin.SCANNER, why="Another roll's scan shows it too.")
    assert gather(scan=replace(scan_web(raster()), streaks=(own,))).flaws == ()


def test_bands_in_percent_with_their_period(gather, raster, scanned_streak) -> None:
    """A band comes as a flaw with its amplitude in percent, its interval and how often it returns."""
    band = Band(
        extent=scanned_streak.extent,
        period_mm=41.25,
        amplitude=0.012,
        amplitude_low=0.01,
        amplitude_high=0.014,
        snr=9.0,
    )
    (flaw,) = gather(scan=replace(scan_web(raster()), bands=(band,))).flaws
    assert (flaw.kind, flaw.unit, flaw.source, flaw.note) == ("band", "%", SCAN, "every 41.2 mm")
    assert (flaw.value, flaw.low, flaw.high) == pytest.approx((1.2, 1.0, 1.4))


def test_repeating_marks_are_a_rate_with_its_maker(gather, whole) -> None:
    """A series is its marks per metre with Garwood's limits, and names spacing and likeliest roller."""
    series = Series(
        spacing_m=0.2513,
        spacing_low_m=0.251,
        spacing_high_m=0.2516,
        phase_m=0.1,
        across_mm=60.0,
        extent=replace(whole, across_from_mm=57.0, across_to_mm=63.0),
        members=tuple(range(6)),
        turns=tuple(range(6)),
        print_probability=0.8,
        drift=0.0,
        log_evidence=30.0,
        false_alarm=1e-6,
        candidates=(
            Candidate(roller="R1", probability=0.97, slip=0.0),
            Candidate(roller="another, not in the table", probability=0.03, slip=0.0),
        ),
    )
    (flaw,) = gather(repeats=replace(NONE, series=(series,))).flaws
    assert (flaw.kind, flaw.unit, flaw.extent) == ("repeating marks", "per m", series.extent)
    assert flaw.value == pytest.approx(3.0)
    # Garwood's 95 % limits of a count of 6 are 2.2019 and 13.0595, here on 2 m of web.
    assert (flaw.low, flaw.high) == pytest.approx((2.2019 / 2, 13.0595 / 2), abs=1e-4)
    assert flaw.note == "every 251.3 mm; R1 (97 %)"
