"""Two channels of one scanner become one scan; nothing counts as looked at that one of them did not see."""

from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from wideroll.errors import ArgumentError
from wideroll.roll import Extent
from wideroll.scan import MATCHES_SCHEMA, MarkFinder, ScanResult, ScanSettings, match_channels
from wideroll.scan.channels import match_marks
from wideroll.synthetic import PlantedMark, PlantedStreak, Web, WebChannel, WebRecipe, make_web

PITCH = (0.3, 0.3)


def _mark(along_m: float, across_mm: float, contrast: float, **fields: float) -> PlantedMark:
    return PlantedMark(along_m=along_m, across_mm=across_mm, length_mm=2.0, width_mm=2.0, contrast=contrast, **fields)


RECIPE = WebRecipe(
    length_m=0.6,
    web_width_mm=140.0,
    field_mm=160.0,
    seed=3,
    marks=(
        _mark(0.1, 30.0, -0.4),
        _mark(0.2, 60.0, -0.5, other_channel=0.5),
        _mark(0.3, 90.0, 0.3, other_channel=-1.0),
        _mark(0.4, 40.0, -0.3, other_channel=0.0),
        _mark(0.5, 110.0, 0.004, other_channel=100.0),
    ),
    channels=(WebChannel(name="red", level=120.0),),
)


def _scan(web: Web, source: str) -> ScanResult:
    finder = MarkFinder(web.shape[1], PITCH, np.uint8, ScanSettings(source=source))
    finder.feed(web.rows())
    return finder.finish()


@pytest.fixture(scope="module")
def scans() -> list[tuple[str, ScanResult]]:
    """Both channels of an invented web, each scanned by itself."""
    web = make_web(RECIPE)
    return [("infrared", _scan(web, "line-1")), ("red", _scan(web.channel("red"), "line-1 red"))]


def test_marks_at_one_place_are_one_mark(scans) -> None:
    """What both channels show is listed once, from the first; what only the second shows is added under its name."""
    both = match_channels(scans)
    assert both.marks["source"].to_list() == ["line-1"] * 4 + ["line-1 red"]
    assert both.marks["along_m"].to_numpy() == pytest.approx([0.1, 0.2, 0.3, 0.4, 0.5], abs=0.0005)
    assert [(one.name, one.source, one.marks, one.alone) for one in both.channels] == [
        ("infrared", "line-1", 4, 1),
        ("red", "line-1 red", 4, 1),
    ]


def test_a_match_says_how_the_channels_differ(scans) -> None:
    """Each match has the distance of both centres and the ratio of contrasts, negative where dark meets bright."""
    both = match_channels(scans)
    matches = both.channel_matches
    assert matches.schema == MATCHES_SCHEMA
    assert matches["id"].to_list() == both.marks["id"].to_list()[:3]
    assert set(matches["id_there"]) <= set(scans[1][1].marks["id"])
    assert matches["distance_mm"].max() < 0.3
    assert matches["contrast_ratio"].to_numpy() == pytest.approx([1.0, 0.5, -1.0], abs=0.12)


def test_one_channel_stays_as_it_is(scans) -> None:
    """A scanner with one channel has no channels to tell apart."""
    assert match_channels(scans[:1]) is scans[0][1]


def test_only_what_all_channels_saw_was_looked_at(scans) -> None:
    """Lines that one channel lost are not looked at, though the other shows them."""
    (name, first), (other, second) = scans
    hole = Extent(along_from_m=0.25, along_to_m=0.35, across_from_mm=0.0, across_to_mm=second.web_width_mm)
    blind = replace(second.coverage, unseen=(*second.coverage.unseen, replace(second.coverage.unseen[0], extent=hole)))
    whole = replace(hole, along_from_m=0.0, along_to_m=0.6, across_to_mm=140.0)
    both = match_channels([(name, first), (other, replace(second, coverage=blind))])
    added = [part for part in both.coverage.unseen if part not in first.coverage.unseen]
    assert [(part.extent, part.why) for part in added][-1:] == [(hole, "edge bead (red)")]
    lost = first.coverage.share(whole) - both.coverage.share(whole)
    assert lost == pytest.approx(0.1 / 0.6 * (140.0 - 8.0) / 140.0, abs=0.005)


def test_the_second_channel_adds_its_streaks() -> None:
    """A streak both show is one; one that only the second shows is added, and says so."""
    web = make_web(
        replace(
            RECIPE,
            length_m=3.0,
            marks=(),
            streaks=tuple(
                PlantedStreak(across_mm=x, along_from_m=0.5, along_to_m=2.5, width_mm=1.0, contrast=c, other_channel=f)
                for x, c, f in ((40.0, 0.03, 1.0), (100.0, 0.0003, 100.0))
            ),
        )
    )
    both = match_channels([("infrared", _scan(web, "line-1")), ("red", _scan(web.channel("red"), "line-1 red"))])
    planted = [line for line in both.streaks if line.contrast > 0.01]
    added = {round(line.across_mm): line.why.startswith("Seen in channel red only.") for line in planted}
    assert (len(planted), added) == (2, {40: False, 100: True})


def test_the_nearest_find_each_other(scans) -> None:
    """Of two marks near one, the nearer is its match and the other stays alone; nobody has two partners."""
    spot = scans[0][1].marks[:1]
    near = pl.concat(
        [
            spot.with_columns(pl.lit("far").alias("id"), pl.col("across_mm") + 1.2),
            spot.with_columns(pl.lit("near").alias("id"), pl.col("across_mm") + 0.3),
        ]
    )
    assert match_marks(spot, near, PITCH)["id_there"].to_list() == ["near"]
    assert match_marks(near, spot, PITCH)["id"].to_list() == ["near"]


def test_far_marks_are_not_matched(scans) -> None:
    """A mark beside another by more than its size and two pixels is another mark; no marks match none."""
    spot = scans[0][1].marks[:1]
    size = spot["width_mm"][0] / 2.0 + 0.6
    for shift, matches in ((size - 0.01, 1), (size + 0.01, 0)):
        assert match_marks(spot, spot.with_columns(pl.col("across_mm") + shift), PITCH).height == matches
    assert match_marks(spot, spot.clear(), PITCH).height == 0


def test_channels_are_told_apart(scans) -> None:
    """Two channels of one name, none, or of two rasters are refused."""
    (name, first), (_, second) = scans
    for wrong in ([], [(name, first), (name, second)], [(name, first), ("red", replace(second, lines=7))]):
        with pytest.raises(ArgumentError, match="channels"):
            match_channels(wrong)
