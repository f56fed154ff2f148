"""What a scan found, as pictures and tables: each says what it shows, and says the same each time."""

import base64
import io
import math
import re
from dataclasses import replace
from xml.etree import ElementTree as ET

import matplotlib as mpl
import numpy as np
import polars as pl
import pytest
from PIL import Image
from rich.cells import cell_len
from rich.console import Console

from wideroll.report import (
    bands_table,
    chip_kinds,
    chips_caption,
    draw_chips,
    draw_overview,
    mottle_table,
    overview_caption,
    splices_table,
    streaks_table,
)
from wideroll.report.chips_picture import chips_grid
from wideroll.report.machine import scan_json
from wideroll.report.overview_picture import overview_grid
from wideroll.roll import MARKS_SCHEMA, Extent
from wideroll.scan import Band, Chip, LinePlaces, MottleScale, Overview, Splice, StreakOrigin

SVG = "{http://www.w3.org/2000/svg}"


def parse(svg):
    """The drawing as a tree."""
    return ET.fromstring(svg)  # noqa: S314  # drawn here, not received


def words(svg):
    """Every word drawn, in the order of drawing."""
    return ["".join(text.itertext()) for text in parse(svg).iter(f"{SVG}text")]


def pictures(svg):
    """Every picture of pixels in the drawing, in its order."""
    data = [image.get("href").partition(",")[2] for image in parse(svg).iter(f"{SVG}image")]
    return [np.asarray(Image.open(io.BytesIO(base64.b64decode(text)))) for text in data]


def _web(from_m, to_m, from_mm=0.0, to_mm=1380.0):
    return Extent(along_from_m=from_m, along_to_m=to_m, across_from_mm=from_mm, across_to_mm=to_mm)


def _row(number, *, kind="spot", snr=9.0, along_m=1.0, polarity="dark"):
    row = {name: 0.5 for name, dtype in MARKS_SCHEMA.items() if dtype == pl.Float64}
    row |= {"id": f"m{number}", "along_m": along_m, "across_mm": 700.0, "length_mm": 0.8, "width_mm": 0.4}
    row |= {"elongation": 2.0, "angle_deg": 0.0, "contrast": 0.25, "snr": snr, "polarity": polarity, "kind": kind}
    return row | {"rule": "invented", "source": "line-1"}


def _chip(number, first_line, value=90):
    pixels = np.full((30, 20), 120, np.uint8)
    pixels[11:19, 8:12] = value
    return Chip(mark=f"m{number}", pixels=pixels, first_line=first_line, first_column=6990)


@pytest.fixture
def scan(assessment):
    """A scan with seven spots, one of them bright, a comet without a chip, and one of all else."""
    along = [1.0 + n for n in range(7)]
    rows = [_row(n, along_m=s, snr=5.0 + n) for n, s in enumerate(along)]
    rows[3]["polarity"] = "bright"
    chips = [_chip(n, round(s * 1e4) - 15, value=150 if n == 3 else 90) for n, s in enumerate(along)]
    streak = assessment.scan.streaks[0]
    return replace(
        assessment.scan,
        marks=pl.DataFrame([*rows, _row(9, kind="comet")], schema=MARKS_SCHEMA),
        chips=tuple(chips),
        pitch_mm=(0.1, 0.1),
        noise=0.01,
        streaks=(streak, replace(streak, origin=StreakOrigin.SCANNER, column=2333.5, why="another roll has it too")),
        bands=(
            Band(
                extent=_web(3.0, 9.5, 100.0, 900.0),
                period_mm=12.5,
                amplitude=0.004,
                amplitude_low=0.003,
                amplitude_high=0.005,
                snr=9.4,
            ),
        ),
        mottle=(MottleScale(size_mm=8.0, amplitude=0.002, amplitude_low=0.001, amplitude_high=0.003),),
        splices=(
            Splice(extent=_web(20.0, 20.05), contrast=-0.41, dropped=False),
            Splice(extent=_web(30.0, 30.0003), contrast=-1.0, dropped=True),
        ),
    )


@pytest.fixture
def overview():
    """Twelve metres in cells of 10 mm, the first two metres unseen, one dark pixel and one fainter bright one."""
    random = np.random.Generator(np.random.PCG64(1))
    mean = (1.0 + 0.001 * random.standard_normal((1200, 30))).astype(np.float32)
    worst = (1.0 + 0.03 * np.sign(mean - 1.0)).astype(np.float32)
    mean[:200] = worst[:200] = np.nan
    worst[777, 11], worst[1000, 20] = 0.5, 1.3
    return Overview(mean=mean, worst=worst, cell_m=0.01, cell_mm=10.0, extent=_web(0.0, 12.0, 0.0, 300.0))


def test_pictures_are_the_same_each_time_whatever_the_callers_settings(scan, overview):
    """Neither a second drawing nor someone else's plotting defaults change a byte."""
    plain = (draw_chips(scan, "spot"), draw_overview(overview))
    with mpl.rc_context({"font.size": 20.0, "image.cmap": "hot", "image.interpolation": "bilinear"}):
        assert (draw_chips(scan, "spot"), draw_overview(overview)) == plain


@pytest.mark.parametrize("draw", ["chips", "overview"])
def test_pictures_stand_in_a_page_without_an_outside_address(scan, overview, draw):
    """Pixels are in the drawing itself, ids are its own, and it has a title and a description to be read out."""
    svg = draw_chips(scan, "spot", key="mine") if draw == "chips" else draw_overview(overview, key="mine")
    root = parse(svg)
    assert all(e.get("href", "#mine-").startswith(("#mine-", "data:image/png;base64,")) for e in root.iter())
    assert all(e.get("id", "mine-").startswith("mine-") for e in root.iter())
    assert root.get("aria-labelledby") == "mine-title mine-desc"
    assert len(root.find(f"{SVG}desc").text) > 60
    assert not re.search(r"https?://(?!www\.w3\.org/)", svg)


def test_each_chip_has_its_number_size_contrast_and_place(scan):
    """Beneath each chip stands what the mark is, the clearest first, and which way its signal goes."""
    drawn = words(draw_chips(scan, "spot"))
    assert [word for word in drawn if re.match(r"\d+  ", word)] == [
        *("1  dark", "2  dark", "3  dark", "4  bright", "5  dark", "6  dark", "7  dark")
    ]
    assert {"0.80 × 0.40 mm", "−25.0 %, 11 × noise", "+25.0 %, 8 × noise", "7.000 m, 700.0 mm", "bar 1 mm"} <= set(
        drawn
    )


def test_a_chip_shows_the_scanners_greys_about_its_own_level(scan):
    """Along runs to the right, its level is the middle grey, dark is darker and bright is brighter."""
    shown = pictures(draw_chips(scan, "spot"))
    assert len(shown) == 7
    dark, bright = shown[0][..., 0], shown[3][..., 0]
    assert dark.shape == (20, 30)
    for picture, mark in ((dark, 0), (bright, 255)):
        assert picture[0, 0] == 128
        assert (picture[8:12, 11:19] == mark).all()


def test_the_frame_lies_about_the_mark(scan):
    """Light under dark, it is where the mark is: at an end of the scan, where the web slowed, and with a tail."""
    cut = Chip(mark="m0", pixels=scan.chips[0].pixels[11:], first_line=9996, first_column=6990)
    slow = LinePlaces(lines=(0.0, 20_000.0), metres=(0.0, 1.0))
    late = Chip(mark="m0", pixels=scan.chips[0].pixels, first_line=19_985, first_column=6990)
    tailed = Chip(mark="m0", pixels=scan.chips[0].pixels[3:27], first_line=9990, first_column=6990)
    alone = scan.marks.filter(pl.col("id") == "m0")
    at = []
    for one in (
        replace(scan, chips=scan.chips[:1], marks=alone),
        replace(scan, chips=(cut,), marks=alone),
        replace(scan, chips=(late,), marks=alone, places=slow),
        replace(scan, chips=(tailed,), marks=alone),
    ):
        svg = draw_chips(one, "spot")
        lines = [path for path in parse(svg).iter(f"{SVG}path") if "fill: none" in path.get("style", "")]
        frames = [path for path in lines if path.get("d").count("L") > 1]
        colours = [re.search(r"stroke: (#\w+)", path.get("style"))[1] for path in frames]
        assert colours == ["#ffffff", "#1d2126"]
        image = next(parse(svg).iter(f"{SVG}image"))
        scale = float(image.get("transform").removeprefix("matrix(").split()[0])
        corners = [float(number) for number in re.findall(r"-?[\d.]+", frames[0].get("d"))]
        left = float(re.findall(r"-?[\d.e-]+", image.get("transform"))[4])
        at.append([(corners[n] - left) / scale for n in (0, 2)])
    assert at == [pytest.approx(e, abs=0.2) for e in ([9.5, 20.5], [-1.5, 9.5], [5.5, 24.5], [6.5, 17.5])]


def test_chips_are_grouped_by_kind_and_said_in_words(scan):
    """Only kinds that chips were kept of are named; the caption says how many of how many and which is the clearest."""
    assert chip_kinds(scan) == ("spot",)
    caption = chips_caption(scan, "spot")
    assert caption.startswith("7 of 7 marks of kind spot, the clearest first. The clearest is 0.80 × 0.40 mm, −25.0 %")
    assert chips_caption(replace(scan, chips=scan.chips[:2]), "spot").startswith("2 of 7 marks")
    assert chip_kinds(replace(scan, chips=())) == ()
    assert chips_caption(scan, "comet") == "No chip of kind comet was kept."
    assert draw_chips(scan, "comet").startswith("<svg")


def test_the_table_beside_the_chips_has_them_in_their_order(scan):
    """A row for each chip under its number, with the rule that named its kind."""
    rows = chips_grid(scan, "spot").rows
    assert [row[0].text for row in rows] == [str(n) for n in range(1, 8)]
    assert [row[1].text for row in rows] == [f"m{n}" for n in range(6, -1, -1)]
    assert {row[1].note for row in rows} == {"invented"}
    assert [row[6].text for row in rows][3] == "+25.0"
    assert chips_grid(scan, "comet").rows == ()


def test_a_chip_of_one_grey_or_none_is_drawn(scan):
    """Black throughout, or saturated, it is still a picture."""
    for value in (0, 65_535):
        flat = Chip(mark="m0", pixels=np.full((30, 20), value, np.uint16), first_line=9985, first_column=0)
        shown = pictures(draw_chips(replace(scan, chips=(flat,), noise=0.0), "spot"))
        assert len(shown) == 1
        assert np.ptp(shown[0][..., 0]) == 0


def test_the_overview_shows_both_layers_with_their_own_scales(overview):
    """A faint mean and a strong worst can both be read; a cell that stands out is black or white; unseen is clear."""
    svg = draw_overview(overview, from_m=1.0, to_m=12.0)
    worst, _, mean, _ = pictures(svg)
    assert worst.shape[:2] == mean.shape[:2]
    assert mean.shape[0] == 30
    assert (mean[:, : mean.shape[1] // 11 - 1, 3] == 0).all()
    assert (mean[:, mean.shape[1] // 11 + 1 :, 3] == 255).all()
    assert worst[11, (777 - 100) // 2, 0] == 0
    assert worst[20, (1000 - 100) // 2, 0] == 255
    assert {"≤ −15 %", "≥ +15 %"} <= set(words(svg))
    assert any(word.startswith("mean of each cell") for word in words(svg))
    assert any(word.startswith("worst of each cell") for word in words(svg))


def test_the_caption_says_what_stands_out_and_what_was_not_seen(overview):
    """It names the worst place, how even the rest is, and how much was not looked at."""
    caption = overview_caption(overview)
    assert "From 0.00 to 12.00 m the pixel furthest from its surroundings departs by −50.0 %" in caption
    assert "at 7.78 m and 115 mm across" in caption
    assert "vary by 0.10 % (standard deviation). 16.7 % of the cells were not looked at." in caption
    assert overview_caption(overview, from_m=0.5, to_m=1.5) == "From 0.50 to 1.50 m nothing was looked at."
    assert "not looked at" not in overview_caption(overview, from_m=3.0)


def test_a_stretch_of_the_overview_lies_where_it_is(overview):
    """Rows that start elsewhere than at the head give the same places as the whole."""
    part = replace(overview, mean=overview.mean[700:900], worst=overview.worst[700:900])
    assert overview_caption(part, first_m=7.0) == overview_caption(overview, from_m=7.0, to_m=9.0)
    assert draw_overview(part, first_m=7.0) == draw_overview(overview, from_m=7.0, to_m=9.0)
    assert overview_grid(part, first_m=7.0) == overview_grid(overview, from_m=7.0, to_m=9.0)


def test_the_overviews_table_lists_the_cells_that_depart_most(overview):
    """The furthest first, with place and both values, and how many are left out."""
    grid = overview_grid(overview)
    assert [cell.text for cell in grid.rows[0]][:3] == ["7.775", "115", "−50.0"]
    assert [cell.text for cell in grid.rows[1]][:3] == ["10.005", "205", "+30.0"]
    assert len(grid.rows) + grid.left_out == 1000 * 30


@pytest.mark.parametrize("rows", [0, 1, 200])
def test_an_overview_of_nothing_is_drawn_as_nothing(overview, rows):
    """No row, or none that was looked at, is a picture without a cell, not an error."""
    empty = replace(overview, mean=overview.mean[:rows], worst=overview.worst[:rows])
    assert draw_overview(empty).startswith("<svg")
    assert overview_caption(empty).endswith("nothing was looked at.")
    assert overview_grid(empty).rows == ()


def shown(table, width=100):
    """The table as a plain terminal shows it."""
    out = io.StringIO()
    Console(file=out, width=width, no_color=True, force_terminal=False).print(table)
    return out.getvalue()


def test_tables_of_a_scan_fit_a_terminal_and_say_what_was_found(scan):
    """Bands, mottle, splices and streaks each in 100 columns, with dropped lines and the scanner's own told apart."""
    wanted = {
        bands_table: ("12.50", "80.00", "0.400", "0.300 to 0.500", "3.0 to 9.5", "100 to 900"),
        mottle_table: ("8.0", "0.200", "0.100 to 0.300"),
        splices_table: ("20.000", "50.0", "−41.0", "splice", "dropped lines: too short"),
        streaks_table: ("scanner: another roll", "has it too"),
    }
    for table, texts in wanted.items():
        text = shown(table(scan))
        assert max(cell_len(line) for line in text.splitlines()) <= 100
        assert [part for part in texts if part not in text] == []


def test_tables_of_nothing_say_so(scan):
    """No scan and nothing found are told apart."""
    none = replace(scan, bands=(), mottle=(), splices=(), streaks=())
    for table in (bands_table, mottle_table, splices_table, streaks_table):
        assert "was not scanned" in shown(table(None))
        assert "looked at" in shown(table(none))


def test_scripts_get_all_that_was_found(scan):
    """Bands with their frequency, mottle, splices, chips without pixels, and whose each streak is."""
    found = scan_json(scan, whole=None, marks=True)
    assert found["bands"][0]["frequency_per_m"] == pytest.approx(80.0)
    assert found["bands"][0]["extent"]["along_to_m"] == 9.5
    assert found["mottle"] == [{"size_mm": 8.0, "amplitude": 0.002, "amplitude_low": 0.001, "amplitude_high": 0.003}]
    assert [splice["dropped"] for splice in found["splices"]] == [False, True]
    assert found["chips"][0] == {"mark": "m0", "first_line": 9985, "first_column": 6990, "lines": 30, "columns": 20}
    assert [(s["origin"], s["column"]) for s in found["streaks"]] == [("web", None), ("scanner", 2333.5)]
    assert found["marks"][0]["rule"] == "invented"
    assert math.isfinite(found["marks"][0]["peak"])
