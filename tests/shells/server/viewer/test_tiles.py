"""Tiles: each pixel is a cell of the overview or a block of the raster's pixels in the stated greys."""

import io
import math
from itertools import pairwise

import numpy as np
import pytest
import zarr
from PIL import Image

from wideroll.errors import InputError
from wideroll.scan import LinePlaces
from wideroll.server.desk import Desk, DeskSettings
from wideroll.server.viewer.data import view_of
from wideroll.server.viewer.greys import to_grey
from wideroll.server.viewer.kept import Kept
from wideroll.server.viewer.pixels import PixelSource, read_pixels
from wideroll.server.viewer.segments import Cells, cut_levels, cut_segments
from wideroll.store import ResultsFolder
from wideroll.store.scan_files import ScanCard

SPOTS = ((400, 333), (1_299, 101))
MARKED = ((37, 3), (4_863, 11), (4_864, 0), (5_999, 19))


def _told(browser, roll, number):
    return browser.get(f"/api/rolls/{roll}/segments/{number}").json()


def _picture(browser, told, level, layer):
    """All tiles of a level put together, ``[from the far edge down, along]``."""
    size = told["tile_px"]
    rows = []
    for y in range(math.ceil(level["rows"] / size)):
        tiles = []
        for x in range(math.ceil(level["columns"] / size)):
            address = told["tiles"].format(layer=layer, level=level["level"], x=x, y=y)
            answer = browser.get(address)
            assert answer.status_code == 200
            with Image.open(io.BytesIO(answer.content)) as image:
                assert (image.mode, image.info["transparency"]) == ("L", 0)
                tiles.append(np.asarray(image))
        rows.append(np.concatenate(tiles, axis=1))
    return np.concatenate(rows)


def _slow_grey(departure, layer):
    if math.isnan(departure):
        return 0
    share = min(abs(departure), 0.5) / 0.5
    return 128 + int(math.copysign(round(127 * (math.sqrt(share) if layer == "mean" else share)), departure))


@pytest.mark.parametrize("layer", ["mean", "worst"])
def test_the_greys_are_as_stated(layer):
    """Every departure has the grey of the formula in the reference, worked out one by one."""
    values = np.concatenate([np.linspace(-0.7, 0.7, 281), [np.nan]])
    assert to_grey(values, layer).tolist() == [_slow_grey(float(value), layer) for value in values]


@pytest.mark.parametrize("number", [1, 2])
@pytest.mark.parametrize("layer", ["mean", "worst"])
def test_a_tile_shows_the_overview_s_cells(browser, viewed, number, layer):
    """Tiles of every level together are the stored cells of that level in the stated greys, the datum edge below."""
    told = _told(browser, "L-1", number)
    assert len(told["levels"]) == (6 if number == 1 else 4)
    for level in told["levels"]:
        stored = zarr.open_array(
            viewed / "results" / "L-1" / "overview.zarr" / str(round(math.log2(level["px_m"] / 0.01))) / layer, mode="r"
        )
        first = round(told["picture"]["from_m"] / level["px_m"])
        part = np.asarray(stored[first : first + level["columns"]], np.float32)
        wanted = to_grey(part, layer).T[::-1]
        np.testing.assert_array_equal(_picture(browser, told, level, layer), wanted)


def test_worst_keeps_a_spot_of_one_cell_at_every_level(browser):
    """A single dark cell is the same grey in worst however coarse the level, and lies where it should."""
    for number in (1, 2):
        told = _told(browser, "L-1", number)
        start = round(told["picture"]["from_m"] / 0.01)
        mine = [(row - start, cell) for row, cell in MARKED if 0 <= row - start < told["levels"][-1]["columns"]]
        assert mine
        for level in told["levels"]:
            picture = _picture(browser, told, level, "worst")
            step = round(level["px_m"] / 0.01)
            for row, cell in mine:
                assert picture[level["rows"] - 1 - cell // step, row // step] == 1


def test_worst_keeps_a_spot_of_one_pixel_at_every_level(browser):
    """A single dark pixel of the raster is dark in worst from the finest pixels to the coarsest cells."""
    told = _told(browser, "V-1", 1)
    assert [level["shows"] for level in told["levels"]] == ["cells of the overview"] + ["pixels of the raster"] * 4
    for level in told["levels"]:
        picture = _picture(browser, told, level, "worst")
        for line, column in SPOTS:
            along, across = int(line * 0.0003 / level["px_m"]), int((column - 10) * 0.3 / level["px_mm"])
            near = picture[level["rows"] - 1 - across - 1 : level["rows"] - across + 1, max(along - 1, 0) : along + 2]
            assert near[near > 0].min() < 20


def test_pixels_of_a_cell_average_to_it(viewed):
    """The raster's pixels, as departures, have the mean that the overview says of their cell."""
    view = view_of(Desk(settings=DeskSettings(root=viewed)), "V-1")
    source = PixelSource(raster=view.raster, pyramid=view.pyramid, card=view.card)
    found = read_pixels(source, 330, 330, 1)[0]
    cell = (np.arange(found.shape[1]) + 0.5) * 0.3 // 10.0
    stored = view.pyramid.stretch(0.0, 9.0, level=0).overview.mean[10:20] - 1.0
    for row, column in np.ndindex(10, 13):
        mine = found[row * 33 : row * 33 + 33, cell == column + 1]
        assert np.nanmean(mine) == pytest.approx(stored[row, column + 1], abs=3e-4)


def test_the_picture_of_pixels_is_the_raster(browser, invented):
    """At the finest level the greys rise and fall with the raster's own pixels, from the datum edge on."""
    told = _told(browser, "V-1", 1)
    picture = _picture(browser, told, told["levels"][-1], "worst")
    web = invented["web"]()[:, 10:510].T[::-1].astype(float)
    part = picture[-480:-20, :].astype(float), web[-480:-20, : picture.shape[1]]
    assert np.corrcoef(part[0].ravel(), part[1].ravel())[0, 1] > 0.98


def test_what_nobody_looked_at_is_clear(browser):
    """Cells without a value, and the rims of the web, are 0, which the picture declares as clear."""
    told = _told(browser, "L-1", 1)
    picture = _picture(browser, told, told["levels"][-1], "mean")
    assert (picture[:, 1_000:1_500] == 0).all()
    assert (picture[:, 1_500:1_600] > 0).all()
    short = _told(browser, "V-1", 1)
    finest = _picture(browser, short, short["levels"][-1], "worst")
    assert (finest[-10:] == 0).all()
    assert (finest[200] > 0).all()


def test_tiles_are_the_same_bytes_each_time(browser, viewed, at):
    """Another desk over the same results sends the same bytes under the same name."""
    for roll, level in (("L-1", 5), ("V-1", 3)):
        address = f"/rolls/{roll}/segments/1/worst/{level}/0_0.png"
        one, other = browser.get(address), at(viewed).get(address)
        assert one.content == other.content
        assert one.headers["etag"] == other.headers["etag"]


@pytest.mark.parametrize(
    "address",
    [
        "/rolls/none/segments/1/mean/0/0_0.png",
        "/rolls/L-1/segments/0/mean/0/0_0.png",
        "/rolls/L-1/segments/3/mean/0/0_0.png",
        "/rolls/L-1/segments/x/mean/0/0_0.png",
        "/rolls/L-1/segments/1/median/0/0_0.png",
        "/rolls/L-1/segments/1/mean/6/0_0.png",
        "/rolls/L-1/segments/1/mean/-1/0_0.png",
        "/rolls/L-1/segments/1/mean/0/1_0.png",
        "/rolls/L-1/segments/1/mean/0/0_1.png",
        "/rolls/L-1/segments/1/mean/0/0_0_0.png",
        "/rolls/L-1/segments/1/mean/0/0.png",
        "/rolls/L-1/segments/1/mean/0/٣_0.png",
        "/rolls/L-1/segments/1/mean/0/-1_0.png",
        "/rolls/L-1/segments/1/mean/0/99999999999999999999_0.png",
        "/rolls/L-1/map/0",
        "/rolls/L-1/map/01",
        "/rolls/L-1/segments/9/still.svg",
        "/rolls/L-1/marks/none/chip.png",
        "/api/rolls/none/segments",
        "/api/rolls/L-1/segments/9",
        "/api/rolls/L-1/marks/none",
        "/api/rolls/none/marks",
    ],
)
def test_what_isnt_there_is_not_found(browser, address):
    """A wrong roll, segment, layer, level or tile is a 404 in the shape that all errors have."""
    answer = browser.get(address)
    assert answer.status_code == 404
    if address.startswith("/api/"):
        assert set(answer.json()["error"]) == {"status", "where", "rule", "mend"}
    else:
        assert answer.headers["content-type"].startswith("text/html")
        assert "404" in answer.text


@pytest.mark.parametrize(
    "address",
    [
        "/rolls/..%2f..%2fetc/segments/1/mean/0/0_0.png",
        "/rolls/%2e%2e/segments/1/mean/0/0_0.png",
        "/rolls/L-1/segments/1/..%2fmean/0/0_0.png",
        "/rolls/L-1/segments/1/mean/0/..%2f0_0.png",
        "/rolls/L-1/marks/..%2f..%2fplant/chip.png",
    ],
)
def test_no_address_leads_out(browser, address):
    """An address that climbs out of the results is refused, and no picture comes of it."""
    answer = browser.get(address)
    assert answer.status_code in {400, 404}
    assert not answer.headers["content-type"].startswith("image")


@pytest.mark.parametrize("name", ["..", "../results/L-1", ".hidden", "L-1/../L-1", ""])
def test_no_name_of_a_roll_leads_out(viewed, name):
    """Where the address wasn't looked at before, the name itself is refused all the same."""
    with pytest.raises((InputError, FileNotFoundError)):
        view_of(Desk(settings=DeskSettings(root=viewed)), name)


def test_a_link_among_the_results_isnt_followed(own_plant, at, tmp_path):
    """A folder of results that is a link to elsewhere is no roll."""
    (own_plant / "results" / "L-1").rename(tmp_path / "elsewhere")
    (own_plant / "results" / "L-1").symlink_to(tmp_path / "elsewhere")
    assert at(own_plant).get("/rolls/L-1/segments/1/mean/0/0_0.png").status_code == 404


def test_a_tile_may_be_kept_until_the_roll_is_scanned_again(own_plant, at, invented):
    """Its name is a fingerprint: with it the browser needn't ask, without it is told when nothing changed."""
    browser = at(own_plant)
    address = browser.get("/api/rolls/L-1/segments/1").json()["tiles"].format(layer="worst", level=0, x=0, y=0)
    answer = browser.get(address)
    assert "immutable" in answer.headers["cache-control"]
    plain = browser.get(address.split("?")[0], headers={"If-None-Match": answer.headers["etag"]})
    assert (plain.status_code, plain.content) == (304, b"")
    assert plain.headers["cache-control"] == "private, no-cache"
    invented["write_long_roll"](own_plant, invented["marks"](10))
    again = browser.get(address, headers={"If-None-Match": answer.headers["etag"]})
    assert again.status_code == 200
    assert again.headers["etag"] != answer.headers["etag"]
    assert again.headers["cache-control"] == "private, no-cache"
    assert browser.get("/api/rolls/L-1/marks").json()["of"] == 10


def test_no_pixels_of_another_raster_are_shown(own_plant, at):
    """A raster of other lines than were scanned isn't shown, and the page says that only cells can be."""
    scan = own_plant / "rolls" / "V-1" / "scan"
    (scan / "b.tif").unlink()
    (scan / "scan.toml").write_text((scan / "scan.toml").read_text().replace(', "b.tif"', ""))
    told = at(own_plant).get("/api/rolls/V-1/segments").json()
    assert (told["pixels"], told["no_pixels_why"]) == (False, "the raster isn't the one that was scanned")
    assert "Only coarse cells can be shown" in at(own_plant).get("/rolls/V-1/map/1").text


def test_what_is_kept_is_bounded():
    """However much is asked for, no more bytes are held than there is room for, and the last asked for stays."""
    kept = Kept(most_bytes=1_000, size=len)
    for n in range(100):
        assert kept.get(n, lambda n=n: bytes(n)) == bytes(n)
        assert kept.get(n, lambda: b"made twice") == bytes(n)
        assert kept.held_bytes <= 1_000
    assert len(kept) == 10


def test_what_fails_is_tried_again():
    """An error isn't kept: the next who asks gets another try."""
    kept = Kept(most_bytes=10, size=len)

    def fail():
        raise ValueError

    with pytest.raises(ValueError):
        kept.get("key", fail)
    assert kept.get("key", lambda: b"fine") == b"fine"


@pytest.mark.parametrize("cell_m", [0.0099, 0.01, 0.0004, 0.2, 7.0, 60.0])
@pytest.mark.parametrize("along", [1, 300, 1_500])
def test_segments_cover_the_roll_and_are_short(cell_m, along):
    """They follow one another from head to tail, none is above 50 m, and all but the last are equally long."""
    cells = Cells(along=along, across=138, cell_m=cell_m, cell_mm=10.0, levels=7)
    segments = cut_segments(cells)
    assert [one.number for one in segments] == list(range(1, len(segments) + 1))
    assert segments[0].first == 0
    assert segments[-1].last == along
    assert all(one.last == other.first for one, other in pairwise(segments))
    assert all((one.last - one.first) * cell_m <= max(50.0, cell_m) for one in segments)
    for one in segments:
        levels = cut_levels(cells, one, pitch_mm=(cell_m * 1000.0 / 33, 0.3))
        assert all(one.first % (1 << level.cells) == 0 for level in levels if level.cells)
        assert all(a.px_m > b.px_m for a, b in pairwise(levels))
        assert [level.number for level in levels] == list(range(len(levels)))


def test_the_encoder_s_count_places_the_picture(own_plant, at):
    """Where an encoder counted, places from the head and in the picture differ, and both are told."""
    results = ResultsFolder(own_plant / "results" / "V-1")
    card = results.load("state/scan", ScanCard, "first")
    places = LinePlaces(lines=(0.0, 825.0, 1650.0), metres=(0.0, 0.2, 0.45))
    fields = {name: getattr(card, name) for name in card.__dataclass_fields__}
    results.save("state/scan", ScanCard(**fields | {"places": places}), "first")
    told = at(own_plant).get("/api/rolls/V-1/segments/1").json()
    assert told["places"] == {"roll_m": [0.0, 0.2, 0.45], "picture_m": pytest.approx([0.0, 0.2475, 0.495])}
    assert (told["from_m"], told["to_m"]) == (0.0, pytest.approx(0.45, abs=0.06))
