"""The frame of the desk: the list, sheets, errors, headers, names."""

import json
import subprocess
import sys

import pytest

SHEET = "<!DOCTYPE html><html lang='en'><title>Roll 4711</title><style>p{color:red}</style><p>hold</p></html>"


@pytest.fixture
def plant(tmp_path):
    """A plant with one decided roll with a sheet, one without, and one whose decision is broken."""
    for roll, verdict, why in (("4711", "hold", "<b>batch</b> not proven"), ("4712", "release", "all within limits")):
        folder = tmp_path / "results" / roll
        folder.mkdir(parents=True)
        lacks = [{"subject": "strips", "cause": "process run P-9 is void"}] if verdict == "hold" else []
        text = json.dumps({"roll": roll, "verdict": verdict, "why": why, "findings": [], "missing": lacks})
        (folder / "decision.json").write_text(text, encoding="utf-8")
    (tmp_path / "results" / "4711" / "sheet.html").write_text(SHEET, encoding="utf-8")
    (tmp_path / "results" / "4713").mkdir()
    (tmp_path / "results" / "4713" / "decision.json").write_text('{"roll": "4713", ', encoding="utf-8")
    (tmp_path / "results" / "_scratch").mkdir()
    (tmp_path / "secret.txt").write_text("not for the desk", encoding="utf-8")
    return tmp_path


@pytest.fixture
def desk(plant, browse):
    """A browser at the desk of that plant."""
    return browse(plant)


def test_the_list_shows_verdict_why_and_sheet(desk):
    """Each decided roll stands in the list; the broken one says what is wrong with it."""
    page = desk.get("/")
    assert page.status_code == 200
    assert 'href="/rolls/4711"' in page.text
    assert "&lt;b&gt;batch&lt;/b&gt; not proven" in page.text
    assert "all within limits" in page.text
    assert "Missing or void: strips: process run P-9 is void" in page.text  # beside why it is held, not in its place
    assert "must be JSON" in page.text
    assert "_scratch" not in page.text


def test_an_empty_plant_says_what_to_do(tmp_path, browse):
    """Before the first decision the list says how to make one."""
    desk = browse(tmp_path)
    assert "No roll is here yet" in desk.get("/").text
    assert desk.get("/api/rolls").json() == {"rolls": []}


def test_a_sheet_is_served_as_it_lies_there(desk):
    """The sheet's bytes are the file's, and its policy lets no script run and nothing be fetched."""
    page = desk.get("/rolls/4711/sheet")
    assert page.text == SHEET
    assert page.headers["content-type"] == "text/html; charset=utf-8"
    assert page.headers["content-security-policy"].startswith(
        "default-src 'none'; style-src 'unsafe-inline'; img-src data:;"
    )


def test_every_answer_is_shut_tight(desk):
    """Pages, JSON and errors carry the strict policy and the other guards; no page names an outside address."""
    for path in ("/", "/api/rolls", "/rolls/none", "/api/rolls/none", "/nowhere"):
        answer = desk.get(path)
        policy = answer.headers["content-security-policy"]
        assert policy.startswith("default-src 'none'; script-src 'self'; style-src 'self';")
        assert "unsafe" not in policy
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["referrer-policy"] == "same-origin"
        assert "://" not in answer.text


def test_the_api_gives_the_decision(desk, plant):
    """One roll's JSON is the content of its decision.json; the list has the same verdicts and each sheet's address."""
    wanted = json.loads((plant / "results" / "4711" / "decision.json").read_text(encoding="utf-8"))
    assert desk.get("/api/rolls/4711").json() == wanted
    rolls = {roll["roll"]: roll for roll in desk.get("/api/rolls").json()["rolls"]}
    assert rolls["4711"]["sheet"] == "/rolls/4711/sheet"
    wanted = {"roll": "4712", "verdict": "release", "why": "all within limits", "sheet": None}
    assert {name: rolls["4712"][name] for name in wanted} == wanted
    assert "roll.toml" in rolls["4712"]["trouble"]
    assert rolls["4713"]["verdict"] == "unknown"


@pytest.mark.parametrize(
    "path", ["/api/rolls/9999", "/api/rolls/%2e%2e", "/api/nowhere", "/api/rolls/.hidden", "/api/rolls/a%20b"]
)
def test_errors_have_one_shape(desk, path):
    """What isn't there is a 404 that says where, which rule, and the mend."""
    answer = desk.get(path)
    assert answer.status_code == 404
    if answer.headers["content-type"] == "application/json":
        error = answer.json()["error"]
        assert set(error) == {"status", "where", "rule", "mend"}
        assert error["status"] == 404


def test_a_broken_decision_is_our_trouble(desk):
    """A decision that can't be read is a 500 with the mend, in the same shape."""
    answer = desk.get("/api/rolls/4713")
    assert answer.status_code == 500
    assert "decide" in answer.json()["error"]["mend"]


@pytest.mark.parametrize(
    "name",
    [
        "../secret.txt",
        "..%2Fsecret.txt",
        "..%2f..%2fetc%2fpasswd",
        "%2e%2e%2fsecret.txt",
        "4711%2f..%2f..",
        "\\..",
        "%00",
    ],
)
def test_no_path_leads_out(desk, name):
    """Names that try to climb out of the results find nothing."""
    for before, after in (("/rolls/", "/sheet"), ("/api/rolls/", "")):
        answer = desk.get(before + name + after)
        assert answer.status_code == 404
        assert "not for the desk" not in answer.text


def test_a_link_does_not_lead_out(desk, plant):
    """A link among the results that points elsewhere isn't followed."""
    outside = plant / "outside"
    outside.mkdir()
    (outside / "sheet.html").write_text("not for the desk", encoding="utf-8")
    (plant / "results" / "9000").symlink_to(outside, target_is_directory=True)
    assert desk.get("/rolls/9000/sheet").status_code == 404


@pytest.mark.parametrize("host", ["example.org", "127.0.0.1.example.org", "evil.localhost.test"])
def test_other_hosts_are_refused(desk, host):
    """A request that came in under another name is turned away."""
    assert desk.get("/", headers={"host": host}).status_code == 421


@pytest.mark.parametrize("host", ["127.0.0.1:8000", "localhost:8000"])
def test_loopback_names_are_served(desk, host):
    """The loopback names work with any port."""
    assert desk.get("/", headers={"host": host}).status_code == 200


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "PATCH"])
def test_nothing_can_be_changed(desk, method):
    """Without the token of a form nothing is even tried."""
    assert desk.request(method, "/api/rolls/4711").status_code == 403


def test_without_fastapi_the_command_says_what_to_install(tmp_path):
    """Where the extra isn't installed the error names it."""
    (tmp_path / "plant.toml").touch()
    code = (
        "import importlib.util as u, sys; real = u.find_spec\n"
        "u.find_spec = lambda name, *rest: None if name == 'fastapi' else real(name, *rest)\n"
        "from wideroll.server.serving import main\n"
        "sys.exit(main([sys.argv[1]]))\n"
    )
    done = subprocess.run([sys.executable, "-c", code, tmp_path], capture_output=True, text=True, check=False)
    assert done.returncode == 3
    assert "pip install 'wideroll[web]'" in done.stderr
