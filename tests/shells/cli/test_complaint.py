"""The commands of complaints, from opening to closing, and what they refuse."""

import csv
import json
import re
import shutil
from pathlib import Path

import pytest
from PIL import Image

from wideroll.cli import main

SPOT_ALONG_M, SPOT_ACROSS_MM = 0.806, 45.6
"""Where the tiny plant's one dark spot was drawn."""
ROLL = "T-1"
WHO = ("--who", "C. Desk")


@pytest.fixture(scope="module")
def complained(decided: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str, float]:
    """The decided tiny plant with a complaint about its spot, the finished roll, and how far in; not to be changed."""
    folder = tmp_path_factory.mktemp("complained")
    root = Path(shutil.copytree(decided, folder / "plant"))
    finished, metres = _finished_with_spot(root)
    frame = folder / "frame.png"
    Image.new("RGB", (40, 30), (200, 40, 40)).save(frame)
    said = ["--saw", "dark spot in a frame", "--at", f"{metres:.2f} m from outer end", "--photo", str(frame)]
    assert main(["complaint", "open", str(root), finished, *said, *WHO, "--reference", "K 77"]) == 0
    return root, finished, metres


@pytest.fixture
def case(complained: tuple[Path, str, float], tmp_path: Path) -> Path:
    """The plant with one open complaint, the test's own."""
    return Path(shutil.copytree(complained[0], tmp_path / "plant"))


def _finished_with_spot(root: Path) -> tuple[str, float]:
    """By the cut list: what was slit first lies outside, so coated metres fall towards the core."""
    with (root / "results" / ROLL / "cut.csv").open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            numbers = {name: float(row[name]) for name in row if re.fullmatch(r"(coated|across)_(from|to)_m+", name)}
            if (
                numbers["coated_from_m"] < SPOT_ALONG_M < numbers["coated_to_m"]
                and numbers["across_from_mm"] < SPOT_ACROSS_MM < numbers["across_to_mm"]
            ):
                return row["label"], numbers["coated_to_m"] - SPOT_ALONG_M
    raise LookupError


def _shown(run, root: Path, case: str = "C-0001"):
    code, out, _ = run("complaint", "show", root, case, "--json")
    assert code == 0
    return json.loads(out)


def _events(root: Path, run) -> int:
    return json.loads(run("record", "verify", root, "--json")[1])["events"]


def test_a_complaint_leads_back_to_the_flaw(complained, run) -> None:
    """A case is traced when it is opened: it names the spot that was drawn, wide roll, batch and decision."""
    root, finished, _ = complained
    shown = _shown(run, root)
    assert (shown["schema"], shown["case"], shown["state"]) == ("wideroll/complaint/1", "C-0001", "open")
    assert (shown["finished"], shown["rolls"], shown["batches"]) == (finished, [ROLL], ["E-1"])
    (stretch,) = shown["touched"]
    assert stretch["along_from_m"] < SPOT_ALONG_M < stretch["along_to_m"]
    (mark,) = [mark for one in shown["trace"]["stretches"] for mark in one["marks"] if mark["inside"]]
    assert mark["along_m"] == pytest.approx(SPOT_ALONG_M, abs=0.01)
    assert mark["across_mm"] == pytest.approx(SPOT_ACROSS_MM, abs=1.0)
    assert shown["trace"]["decision"]["verdict"]


def test_the_case_from_sample_to_recall_list(case: Path, run, tmp_path: Path) -> None:
    """Samples are looked at, the finding is ours and offers the recall, the case closes, and the record holds."""
    asked = run("complaint", "ask", case, "1", "--sample", "sheet A", *WHO)
    assert asked[1].startswith("C-0001: waiting for samples\n")
    run("complaint", "look", case, "c-1", "--sample", "sheet A", "--saw", "the same spot", "--who", "L. Lab")
    found = ("--looked-at", "trace", "--looked-at", "sample", "--why", "the scan saw it there")
    code, out, err = run("complaint", "find", case, "C-0001", "ours", *found, *WHO)
    assert (code, out.splitlines()[0]) == (0, "C-0001: found")
    words = re.search(r"wideroll (trace PLANT (\S+) --at \"([^\"]+)\" --sisters --recall FILE\.csv)", err)
    assert words is not None
    recall = tmp_path / "recall.csv"
    assert run("trace", case, words[2], "--at", words[3], "--sisters", "--recall", recall, *WHO)[0] == 0
    code, out, err = run("complaint", "close", case, "1", "--outcome", "replaced, sisters called back", *WHO)
    assert (code, out, err) == (0, "C-0001: closed\n", "")
    shown = _shown(run, case)
    assert [one["step"] for one in shown["steps"]] == ["opened", "asked", "looked", "found", "closed"]
    assert (shown["finding"], shown["looked_at"]) == ("ours", ["trace", "sample"])
    assert shown["recalls"][0]["rolls"][0] == shown["finished"]
    assert shown["next"] == []
    code, out, _ = run("record", "verify", case)
    assert (code, "photographs of complaints, as they were kept: 1" in out) == (0, True)


def test_the_page_holds_the_case(case: Path, run, tmp_path: Path) -> None:
    """The page is one file with the photograph in it, twice the same bytes, and nothing in it can run."""
    run("complaint", "add", case, "1", "--saw", "<script>alert(1)</script> & more", *WHO)
    pages = [tmp_path / "a.html", tmp_path / "b.html"]
    for page in pages:
        assert run("complaint", "show", case, "1", "--page", page)[0] == 0
    text = pages[0].read_text(encoding="utf-8")
    assert pages[0].read_bytes() == pages[1].read_bytes()
    assert "data:image/jpeg;base64," in text
    assert not re.findall(r"https?:|url\(|@import|<script|src=\"(?!data:)", text)
    for words in ("dark spot in a frame", "frame.png", "K 77", "C. Desk", "batch E-1", "&lt;script&gt;"):
        assert words in text


def test_a_changed_photograph_is_found_and_not_shown(case: Path, run, tmp_path: Path) -> None:
    """A photograph that was changed fails the verification by name, and the page says so in its place."""
    (photo,) = (case / "complaints" / "C-0001").iterdir()
    photo.write_bytes(photo.read_bytes() + b"x")
    code, _, err = run("record", "verify", case)
    assert code == 4
    assert photo.name in err
    page = tmp_path / "case.html"
    code, _, err = run("complaint", "show", case, "1", "--page", page)
    assert (code, photo.name in err) == (0, True)
    assert "data:image" not in page.read_text(encoding="utf-8")
    assert "Missing or changed" in page.read_text(encoding="utf-8")


def test_open_cases_show_with_the_decision(case: Path, run) -> None:
    """While a case is open it stands beside the decision and its sheet, whose sealed bytes and JSON stay the same."""
    sheet, beside = (case / "results" / ROLL / name for name in ("sheet.html", "complaints.html"))
    sealed = sheet.read_bytes()
    _, out, err = run("decide", case, ROLL)
    assert "open complaints: 1 (C-0001 dark spot in a frame)" in out
    assert "Nothing was stale" in err
    assert "open complaints: 1" in run("decide", case, ROLL, "--explain")[1]
    assert (
        run("decide", case, ROLL, "--json")[1]
        == json.dumps(
            json.loads((case / "results" / ROLL / "decision.json").read_bytes()),
            ensure_ascii=False,
            indent=2,
            sort_keys=True,
        )
        + "\n"
    )
    assert "complaints.html" in sealed.decode()
    assert "C-0001" in beside.read_text(encoding="utf-8")
    assert "No open complaint" not in beside.read_text(encoding="utf-8")
    run("complaint", "find", case, "1", "camera", "--looked-at", "photograph", "--why", "in each frame", *WHO)
    run("complaint", "close", case, "1", "--outcome", "told", *WHO)
    assert "open complaints" not in run("decide", case, ROLL)[1]
    assert "No open complaint" in beside.read_text(encoding="utf-8")
    assert sheet.read_bytes() == sealed


def test_a_list_is_narrowed(case: Path, run) -> None:
    """Complaints are listed all, open, by wide roll and by batch; one that isn't traced touches none."""
    assert run("complaint", "open", case, "X-9/001-01", "--saw", "fog", "--untraced", *WHO)[0] == 0

    def named(*words: str) -> list[str]:
        code, out, _ = run("complaints", case, "--json", *words)
        document = json.loads(out)
        assert (code, document["schema"]) == (0, "wideroll/complaints/1")
        return [one["case"] for one in document["complaints"]]

    assert named() == named("--open") == ["C-0001", "C-0002"]
    assert named("--roll", ROLL) == named("--batch", "E-1") == ["C-0001"]
    assert named("--roll", "T-2") == named("--batch", "E-9") == []
    run("complaint", "find", case, "1", "unknown", "--looked-at", "trace", "--why", "it doesn't tell", *WHO)
    run("complaint", "close", case, "1", "--outcome", "replaced", *WHO)
    assert named("--open") == ["C-0002"]
    out = run("complaints", case)[1]
    assert "C-0001" in out
    assert "unknown: replaced" in re.sub(r"\s+", " ", out)


def test_a_new_place_is_traced_anew(case: Path, run) -> None:
    """A place measured later takes the place of the first, and the case keeps both steps."""
    before = _shown(run, case)["touched"]
    assert run("complaint", "add", case, "1", "--at", "0.1 m from core", *WHO)[0] == 0
    shown = _shown(run, case)
    assert shown["at"] == "0.1 m from core"
    assert shown["touched"] != before
    assert [one["step"] for one in shown["steps"]] == ["opened", "seen"]


OPEN_ONE = ("open", "{plant}", "{finished}", "--saw")
BAD = {
    "unknown roll": ((*OPEN_ONE[:2], "T-1/001-99", "--saw", "spot"), ("T-1/001-99", "T-1/001-0")),
    "place past the end": ((*OPEN_ONE, "spot", "--at", "90 m from outer end"), ("90 m",)),
    "place that is none": ((*OPEN_ONE, "spot", "--at", "somewhere"), ("somewhere", "--at")),
    "empty words": ((*OPEN_ONE, "  "), ("--saw", "must hold words")),
    "no photograph": ((*OPEN_ONE, "spot", "--photo", "{plant}/plant.toml"), ("plant.toml", "PNG, JPEG or TIFF")),
    "photograph not there": (("add", "{plant}", "1", "--photo", "{plant}/none.jpg"), ("none.jpg",)),
    "nothing to add": (("add", "{plant}", "1"), ("C-0001", "--photo")),
    "finding without a look": (
        ("find", "{plant}", "1", "ours", "--why", "surely"),
        ("needs a look", "trace, photograph"),
    ),
    "finding by no sample": (("find", "{plant}", "1", "lab", "--why", "x", "--looked-at", "sample"), ("'sample'",)),
    "closing without finding": (("close", "{plant}", "1", "--outcome", "told"), ("needs a finding", "find")),
    "reopening an open one": (("reopen", "{plant}", "1", "--why", "x"), ("only a closed case",)),
    "unknown case": (("look", "{plant}", "C-0009", "--sample", "a", "--saw", "b"), ("C-0009", "C-0001")),
    "no case": (("show", "{plant}", "first"), ("first", "C-0003")),
    "no plant": (("open", "{plant}/rolls", "{finished}", "--saw", "spot"), ("plant.toml",)),
}


@pytest.mark.parametrize("name", BAD)
def test_bad_input_changes_nothing(complained, run, name: str) -> None:
    """What can't be used ends with one error that names it and the mend, and nothing is recorded or kept."""
    root, finished, _ = complained
    words, told = BAD[name]
    before = sorted((root / "complaints").rglob("*"))
    code, out, err = run("complaint", *(word.format(plant=root, finished=finished) for word in words))
    assert (code, out) == (3, "")
    assert err.count("Error:") == 1
    for text in told:
        assert text in err
    assert sorted((root / "complaints").rglob("*")) == before
    assert _events(root, run) == len(_events_named(root, run))


def _events_named(root: Path, run) -> list[dict]:
    """As the history has them; the fixture's complaint is the last."""
    events = json.loads(run("history", root, "--json")[1])["events"]
    assert events[-1]["act"] == "complaint"
    assert sum(one["act"] == "complaint" for one in events) == 1
    return events


@pytest.mark.parametrize(
    "words",
    [
        ("find", "1", "theirs", "--why", "x"),
        ("find", "1", "ours", "--why", "x", "--looked-at", "nothing"),
        ("open", "T-1/001-01"),
        ("open", "T-1/001-01", "--saw", "x", "--untraced", "--at", "1 m"),
        ("ask", "1"),
    ],
)
def test_wrong_usage(complained, run, words: tuple[str, ...]) -> None:
    """A finding that is none, a missing option, and options that don't go together are wrong usage."""
    assert run("complaint", words[0], complained[0], *words[1:])[0] == 2


def test_a_record_that_does_not_hold_stops_the_work(case: Path, run) -> None:
    """On a record whose events were changed no complaint is opened, added to or listed."""
    database = case / "wideroll.db"
    data = database.read_bytes()
    assert data.count(b"dark spot in a frame")
    database.write_bytes(data.replace(b"dark spot in a frame", b"dark spot in a fRame"))
    for words in (
        ("complaint", "add", case, "1", "--saw", "more", *WHO),
        ("complaint", "show", case, "1"),
        ("complaints", case),
    ):
        assert run(*words)[0] == 4
