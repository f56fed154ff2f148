"""Segments taken while the scanner still writes them."""

import numpy as np
import pytest
import tifffile
from PIL import Image

from wideroll.readers import PlantFolder
from wideroll.readers.segment_list import in_order
from wideroll.readers.segment_watch import SegmentWatch
from wideroll.readers.wakes import wakes
from wideroll.scan import LinePlaces, LostLines

HEAD = 'scanner = "s"\npitch_along = "0.5 mm"\npitch_across = "0.2 mm"\n'
COME = 'segments = "as they come"\n'
COLUMNS = 50


class Scanner:
    """A folder that fills, and a clock that is turned by hand."""

    def __init__(self, folder):
        self.folder, self.now = folder, 0.0

    def say(self, text=COME):
        """Write scan.toml."""
        (self.folder / "scan.toml").write_text(HEAD + text)

    def write(self, name, lines=20, *, part=1.0):
        """A segment whose lines have its number, or the first part of its bytes."""
        path = self.folder / name
        grey = np.full((lines, COLUMNS), int("".join(c for c in name if c.isdigit())), np.uint8)
        tifffile.imwrite(path, grey)
        data = path.read_bytes()
        path.write_bytes(data[: int(part * len(data))])

    def watch(self):
        """A watch that goes by the clock."""
        return SegmentWatch(self.folder, clock=lambda: self.now)

    def later(self, seconds=1.5):
        """Let time pass."""
        self.now += seconds


@pytest.fixture
def scanner(tmp_path):
    """A folder whose segments come."""
    made = Scanner(tmp_path)
    made.say()
    return made


def names(watch):
    """What a look takes."""
    return [one.file.path.name for one in watch.look()]


def test_a_segment_is_taken_once_and_after_a_second_without_change(scanner):
    """A segment that just appeared may still grow; a second later it is taken, and never again."""
    watch = scanner.watch()
    scanner.write("s-1.tif")
    assert names(watch) == []
    scanner.later()
    assert names(watch) == ["s-1.tif"]
    scanner.later()
    assert names(watch) == []


def test_a_segment_that_is_followed_is_taken_at_once(scanner):
    """The scanner has gone on to the next one, so the one before is done."""
    watch = scanner.watch()
    scanner.write("s-1.tif")
    scanner.write("s-2.tif")
    assert names(watch) == ["s-1.tif"]


def test_numbers_in_names_are_numbers(scanner):
    """The tenth segment comes after the ninth, whatever an alphabet says; other files are left alone."""
    watch = scanner.watch()
    for name in ("s-10.tif", "s-9.tif", ".s-8.tif"):
        scanner.write(name)
    (scanner.folder / "notes.txt").write_text("a")
    (scanner.folder / "s-11.tif.part").write_bytes(b"x")
    assert names(watch) == ["s-9.tif"]
    scanner.later()
    assert names(watch) == ["s-10.tif"]
    assert sorted(["b10", "a", "b9"], key=in_order) == ["a", "b9", "b10"]


@pytest.mark.parametrize("part", [0.0, 0.02, 0.5, 0.99])
def test_half_a_segment_is_never_read_as_damaged(scanner, part):
    """However much is written, and however long the scanner rests, a segment is waited for and read whole."""
    watch = scanner.watch()
    scanner.write("s-1.tif", part=part)
    for _ in range(5):
        assert names(watch) == []
        scanner.later(5.0)
    scanner.write("s-2.tif")
    assert names(watch) == []
    scanner.write("s-1.tif")
    (first,) = watch.look()
    assert [block.shape for block in first.blocks()] == [(20, COLUMNS)]
    assert first.note == ""


def test_a_segment_that_stays_cut_off_gives_what_it_has(scanner):
    """With two later segments there, its readable lines count, the rest is lost in its place and a note says so."""
    watch = scanner.watch()
    scanner.write("s-1.tif", part=0.6)
    scanner.write("s-2.tif")
    scanner.write("s-3.tif")
    assert names(watch) == []
    scanner.later()
    first, second, *_ = watch.look()
    rows, lost = first.blocks()
    assert "s-1.tif never became whole" in first.note
    assert isinstance(lost, LostLines)
    assert len(rows) + lost.lines == 20
    assert second.file.path.name == "s-2.tif"


def test_a_segment_of_which_nothing_can_be_read_is_as_long_as_its_neighbour(scanner):
    """Its lines are lost, not left out: what follows keeps its place along."""
    watch = scanner.watch()
    scanner.write("s-1.tif", lines=30)
    (scanner.folder / "s-2.tif").write_bytes(b"no raster")
    scanner.write("s-3.tif")
    scanner.write("s-4.tif")
    assert names(watch) == ["s-1.tif"]
    scanner.later()
    second, third, *_ = watch.look()
    assert [type(block) for block in second.blocks()] == [LostLines]
    assert second.file.lines == 30
    assert "taken to be lost, with 30 lines" in second.note
    assert third.gap == 0


def test_nothing_readable_is_an_error(scanner, refused):
    """Where neither the first segment nor the next can be read, the fault is the setting's, and is said."""
    watch = scanner.watch()
    for name in ("s-1.tif", "s-2.tif", "s-3.tif"):
        (scanner.folder / name).write_bytes(b"no raster")
    list(watch.look())
    scanner.later()
    with refused(str(scanner.folder), rule="one of the first segments must be readable", value="s-1.tif"):
        list(watch.look())


def test_a_segment_that_belongs_before_one_taken_is_refused(scanner, refused):
    """Web that was counted on from can't get lines in front of it."""
    watch = scanner.watch()
    scanner.write("s-2.tif")
    list(watch.look())
    scanner.later()
    assert names(watch) == ["s-2.tif"]
    scanner.write("s-1.tif")
    with refused(rule="in order from the head; s-2.tif was taken already", value="s-1.tif"):
        list(watch.look())


def test_a_list_may_run_ahead_and_grow(scanner):
    """Listed segments that aren't there yet are waited for, and the list may be added to; gaps come as lines."""
    scanner.say('segments = ["a1.tif", "a2.tif"]\n')
    watch = scanner.watch()
    scanner.write("a1.tif")
    list(watch.look())
    scanner.later()
    assert names(watch) == ["a1.tif"]
    scanner.later(60.0)
    assert names(watch) == []
    scanner.write("a2.tif")
    scanner.write("a3.tif")
    scanner.say('segments = ["a1.tif", "a2.tif", {file = "a3.tif", from = "25 mm"}]\n')
    list_two = names(watch)
    scanner.later()
    (third,) = watch.look()
    assert list_two == ["a2.tif"]
    assert third.gap == 10
    lost, rows = third.blocks()
    assert (lost, len(rows)) == (LostLines(lines=10, why="not scanned before a3.tif"), 20)


def test_a_changed_list_is_refused(scanner, refused):
    """A list that no longer begins with what was taken isn't this scan's."""
    scanner.say('segments = ["a1.tif", "a2.tif"]\n')
    watch = scanner.watch()
    scanner.write("a1.tif")
    scanner.write("a2.tif")
    assert names(watch) == ["a1.tif"]
    scanner.say('segments = ["a2.tif", "a1.tif"]\n')
    with refused("field segments", rule="in order from the head", value="a2.tif"):
        list(watch.look())


def test_a_list_that_is_just_being_written_is_read_later(scanner, refused):
    """Half a scan.toml ends no watch; one that stays faulty does."""
    watch = scanner.watch()
    (scanner.folder / "scan.toml").write_text('scanner = "s')
    assert names(watch) == []
    scanner.later()
    with refused("scan.toml", rule="must be TOML"):
        list(watch.look())


def test_a_segment_of_another_scan_is_refused(scanner, refused):
    """All segments have one width."""
    watch = scanner.watch()
    scanner.write("s-1.tif")
    tifffile.imwrite(scanner.folder / "s-2.tif", np.zeros((5, 70), np.uint8))
    assert names(watch) == ["s-1.tif"]
    scanner.later()
    with refused("s-2.tif", rule="all segments must be 50 pixels wide"):
        list(watch.look())


def test_a_png_is_whole_with_its_last_chunk(scanner):
    """A PNG's header says nothing of what is missing; its end does."""
    watch = scanner.watch()
    path = scanner.folder / "s-1.png"
    Image.fromarray(np.full((20, COLUMNS), 9, np.uint8)).save(path)
    data = path.read_bytes()
    path.write_bytes(data[:-6])
    for _ in range(3):
        scanner.later()
        assert names(watch) == []
    path.write_bytes(data)
    list(watch.look())
    scanner.later()
    assert names(watch) == ["s-1.png"]


def test_a_raw_segment_without_lines_is_whole_when_the_next_is_there(scanner):
    """Nothing but its follower tells that a bare file won't grow; one that says its lines needs none."""
    watch = scanner.watch()
    for name, more in (("s-1", ""), ("s-2", "lines = 4\n")):
        (scanner.folder / f"{name}.toml").write_text(f'columns = {COLUMNS}\ndtype = "uint8"\n{more}')
    (scanner.folder / "s-1.raw").write_bytes(bytes(3 * COLUMNS))
    for _ in range(3):
        scanner.later()
        assert names(watch) == []
    (scanner.folder / "s-2.raw").write_bytes(bytes(3 * COLUMNS))
    assert names(watch) == ["s-1.raw"]
    scanner.later()
    assert names(watch) == []
    (scanner.folder / "s-2.raw").write_bytes(bytes(4 * COLUMNS))
    list(watch.look())
    scanner.later()
    assert names(watch) == ["s-2.raw"]


def test_what_never_becomes_whole_is_said_once(scanner):
    """A person is told what is being waited for, after ten seconds, and not again."""
    watch = scanner.watch()
    (scanner.folder / "s-1.tif").write_bytes(b"no raster")
    list(watch.look())
    assert watch.waiting() == ""
    scanner.later(11.0)
    assert watch.waiting().startswith("s-1.tif isn't whole and doesn't grow")
    assert watch.waiting() == ""


def test_an_encoder_is_read_as_far_as_it_counts(scanner):
    """Places come from the table as it is now, and from the pitch while there is none."""
    scanner.say(COME + 'encoder = "encoder.csv"\n')
    watch = scanner.watch()
    assert watch.places() is None
    (scanner.folder / "encoder.csv").write_text("line,along_m\n0,0\n100,0.04\n")
    assert watch.places() == LinePlaces.counted([0, 100], [0.0, 0.04])


def test_a_folder_without_scan_toml_is_refused(tmp_path, refused):
    """Nothing is known of such a scan."""
    with refused("scan.toml", rule="the file must be there"):
        SegmentWatch(tmp_path)


@pytest.mark.parametrize(
    ("text", "where", "rule"),
    [
        ('segments = "as they go"\n', "field segments", 'must be a list in square brackets, or "as they come"'),
        ('segments = ["a.tif"]\nsegment_names = "a*"\n', "segment_names", 'goes with segments = "as they come"'),
    ],
)
def test_other_words_are_refused(scanner, refused, text, where, rule):
    """A misspelt rule is no list."""
    scanner.say(text)
    with refused("scan.toml", where, rule=rule):
        scanner.watch()


def test_names_may_be_narrowed(scanner):
    """Other rasters in the folder are left alone where scan.toml says how segments are called."""
    scanner.say(COME + 'segment_names = "s-*.tif"\n')
    watch = scanner.watch()
    for name in ("s-1.tif", "t-1.tif", "t-2.tif"):
        scanner.write(name)
    list(watch.look())
    scanner.later()
    assert names(watch) == ["s-1.tif"]


def test_the_first_wake_comes_at_once(tmp_path):
    """What is there already needs no change to be seen."""
    waking = wakes(tmp_path)()
    assert next(waking) is None
    waking.close()


def test_without_watchfiles_the_mend_is_said(tmp_path, refused, monkeypatch):
    """The package is an extra, and the error says how to get it."""
    monkeypatch.setitem(__import__("sys").modules, "watchfiles", None)
    with refused("watch", rule="needs watchfiles"):
        wakes(tmp_path)


def test_plain_commands_read_what_came(tmp_path, refused):
    """A roll scanned as it came is opened like one whose segments are listed, in the same order."""
    folder = tmp_path / "rolls" / "W-1" / "scan"
    folder.mkdir(parents=True)
    scanner = Scanner(folder)
    scanner.say()
    (tmp_path / "plant.toml").write_text(
        'name = "p"\nweb_width = "9 mm"\ndatum_edge = "left"\n[[scanners]]\nname = "s"\nwavelength_nm = 850\n'
    )

    class Blind:
        def check_scanner(self, *_, **__):
            """Any scanner will do."""

    files = PlantFolder(tmp_path)
    with refused(str(folder), rule="at least one segment"):
        files.raster("W-1", files.plant(), Blind())
    scanner.write("s-10.tif")
    scanner.write("s-9.tif", lines=7)
    raster = files.raster("W-1", files.plant(), Blind())
    assert [file.path.name for file in raster.files] == ["s-9.tif", "s-10.tif"]
    assert raster.lines == 27
