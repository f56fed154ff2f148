"""What somebody may try on the desk: each is refused, and stands in the log."""

import json
import re

import pytest
from fastapi.routing import APIRoute
from starlette.requests import Request
from starlette.routing import Mount

from wideroll.people import ROLES, acts_of, change_person
from wideroll.server.access import Allow
from wideroll.server.identity import who_asks

_OPEN = {"/login", "/logout", "/login/provider", "/login/provider/back"}
"""Whoever isn't logged in may ask for these; each is tested by itself."""
_EVIL = "<script>alert('x')</script>"


def _routes(some):
    """All routes of an application or router, those of the routers in it included."""
    found = []
    for route in some.routes:
        inner = getattr(route, "original_router", None)
        if inner is not None:
            found += _routes(inner)
        elif not (isinstance(route, Mount) and route.path == "/static"):
            assert isinstance(route, APIRoute), f"no test knows how to ask for {route!r}"
            found.append(route)
    return found


def _acts(dependant):
    """What a route asks of who comes: one set of acts for each guard on it."""
    own = [set(dependant.call.acts)] if isinstance(dependant.call, Allow) else []
    return own + [acts for below in dependant.dependencies for acts in _acts(below)]


def _filled(path):
    return re.sub(r"\{[^}]*\}", "1", path)


@pytest.fixture
def routes(people):
    """Each address and method of the desk, with what it asks of who comes."""
    people.app.complete()
    found = [
        (method, _filled(route.path), _acts(route.dependant), route.path)
        for route in _routes(people.app)
        for method in sorted(route.methods)
    ]
    assert len(found) > 10
    return found


@pytest.fixture
def refused_by(people):
    """Make requests that must be refused, and check that each left a line in the log."""

    def refuse(browser, method, path, statuses, **rest):
        before = people.log()[0].number if people.log() else 0
        answer = browser.request(method, path, **rest)
        assert answer.status_code in statuses, (method, path, answer.status_code)
        lines = [line for line in people.log() if line.number > before]
        assert lines, f"{method} {path} isn't in the log"
        return answer, lines[0]

    return refuse


def test_every_route_asks_for_a_permission(routes):
    """A route without one would be open to everybody: there is none but those of the login."""
    assert {path for _, _, acts, path in routes if not acts} <= _OPEN
    for _, _, acts, path in routes:
        assert all(acts), path


def test_nobody_gets_anywhere_without_saying_who_they_are(people, routes, refused_by):
    """Each route leads to the login or refuses; what would change something, or is for machines, is in the log."""
    browser = people.browser()
    for method, path, _, raw in routes:
        if raw in _OPEN:
            continue
        if method == "GET" and not path.startswith("/api/"):
            assert browser.get(path).headers["location"].startswith("/login"), path
        else:
            refused_by(browser, method, path, {401})


def test_a_wrong_role_gets_nowhere(people, routes, refused_by):
    """Each route refuses each role that lacks what it asks for, with a form of the right session, and logs it."""
    for role in ROLES:
        browser = people.browser(role.replace(" ", "-"))
        token = browser.token("/password")
        for method, path, wanted, raw in routes:
            if raw in _OPEN or all(acts & acts_of([role]) for acts in wanted):
                continue
            form = {"data": {"csrf": token}} if method != "GET" else {}
            answer, line = refused_by(browser, method, path, {403}, **form)
            assert "needs a role that may" in answer.text
            assert line.who == f"{role.title()} A."


def test_no_form_counts_that_this_desk_did_not_show_to_this_person(people, routes, refused_by):
    """Without the form's token, with another's, or from another site's page, nothing that changes anything is done."""
    other = people.browser("administrator").token("/password")
    browser = people.browser("administrator")
    token = browser.token("/password")
    changing = [(method, path, raw) for method, path, _, raw in routes if method not in {"GET", "HEAD"}]
    assert len(changing) > 5
    for method, path, raw in changing:
        if raw == "/login":
            continue
        for form in ({}, {"csrf": ""}, {"csrf": "f" * 64}, {"csrf": other}):
            refused_by(browser, method, path, {403}, data=form)
    for headers in (
        {"origin": "https://elsewhere.example"},
        {"origin": "null"},
        {"origin": "http://127.0.0.1:9999"},
        {"origin": "https://127.0.0.1:8642"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
    ):
        refused_by(browser, "POST", "/logout", {403}, data={"csrf": token}, headers=headers)
    assert browser.get("/").status_code == 200
    own = {"origin": "http://127.0.0.1:8642", "sec-fetch-site": "same-origin"}
    assert browser.request("POST", "/logout", data={"csrf": token}, headers=own).status_code == 303


def test_nobody_is_logged_in_behind_their_back(people, refused_by):
    """The form to log in carries a token, too: no other site can log a browser in as somebody it knows."""
    form = {"name": "reader", "password": "grey web under lamp"}
    refused_by(people.browser(), "POST", "/login", {403}, data=form)
    refused_by(people.browser(), "POST", "/login", {403}, data=form | {"csrf": people.browser().token("/login")})


@pytest.mark.parametrize("boundary", ["x", "--x--", "a" * 70])
def test_a_form_with_files_needs_its_token_first(people, refused_by, boundary):
    """The token must be the first part; one that stands behind a file, or in another field's text, doesn't count."""
    browser = people.browser("administrator")
    token = browser.token("/password")

    def part(name, text, rest=""):
        head = f'--{boundary}\r\nContent-Disposition: form-data; name="{name}"{rest}\r\n\r\n'
        return f"{head}{text}\r\n"

    def send(body):
        kind = f"multipart/form-data; boundary={boundary}"
        return {"content": f"{body}--{boundary}--\r\n".encode(), "headers": {"content-type": kind}}

    first = part("csrf", token) + part("photograph", "x" * 50_000, '; filename="a.png"')
    assert browser.request("POST", "/people", **send(first)).status_code == 422
    hidden = part("note", f'--{boundary}x\r\nContent-Disposition: form-data; name="csrf"\r\n\r\n{token}')
    for body in (
        part("photograph", "x", '; filename="a.png"') + part("csrf", token),
        hidden,
        part("csrf", token, "; x=1"),
    ):
        refused_by(browser, "POST", "/people", {403}, **send(body))


def test_anothers_session_cannot_be_taken(people):
    """A session's secret that was guessed, cut, changed or is another cookie's opens nothing."""
    thief, victim = people.browser(), people.browser("administrator")
    victim.get("/people")
    secret = victim.cookies.get("wideroll-8642-session")
    [(kept,)] = people.database.rows("SELECT digest FROM sessions")
    for wrong in ("x" * 43, secret[:-1], secret.swapcase(), kept, "'; --", "%00", "x" * 4000):
        thief.cookies.clear()
        thief.cookies.set("wideroll-8642-session", wrong, domain="127.0.0.1")
        answer = thief.get("/people")
        assert answer.status_code == 303
        if len(wrong) < 200:
            assert "the session isn't known or has ended" in people.log()[0].what
    assert victim.get("/people").status_code == 200


def test_a_session_cannot_be_fixed_beforehand(people):
    """A secret that an attacker put into the browser isn't taken over: the login makes a new one and ends the old."""
    attacker = people.browser("reader")
    planted = attacker.cookies.get("wideroll-8642-session")
    victim = people.browser()
    token = victim.token("/login")
    victim.cookies.set("wideroll-8642-session", "planted-by-somebody-else-0123456789012345", domain="127.0.0.1")
    form = {"csrf": token, "name": "examiner", "password": "grey web under lamp"}
    victim.request("POST", "/login", data=form)
    fresh = victim.cookies.get("wideroll-8642-session")
    assert fresh not in {planted, "planted-by-somebody-else-0123456789012345"}
    again = people.browser("reader")
    old = again.cookies.get("wideroll-8642-session")
    again.post("/logout", "/")
    again.log_in("reader")
    assert again.cookies.get("wideroll-8642-session") != old
    assert len(people.database.rows("SELECT 1 FROM sessions")) == 3


@pytest.mark.parametrize(
    "name",
    [
        "..%2f..%2fetc%2fpasswd",
        "%2e%2e",
        "%2e%2e%2fdesk.db",
        "4711%2f..%2f..",
        "..%5c..%5cdesk.db",
        "%5c%5chost%5cshare",
        "4711%00.html",
        "4711%0d%0aSet-Cookie:%20a=b",
    ],
)
@pytest.mark.parametrize(
    "place", ["/rolls/{}", "/rolls/{}/sheet", "/rolls/{}/segments/1/mean/0/0_0.png", "/api/rolls/{}"]
)
def test_no_name_leads_out_of_the_plant(people, refused_by, place, name):
    """Steps upward, hidden slashes and signs that steer in the name of a roll or a tile are refused."""
    answer, _ = refused_by(people.browser("reader"), "GET", place.format(name), {404})
    assert "SQLite" not in answer.text
    assert "set-cookie" not in answer.headers


def test_what_is_too_long_is_refused_before_it_is_read(people, refused_by):
    """By what it says of its length, or once it has sent too much; the desk goes on."""
    browser = people.browser("administrator")
    token = browser.token("/password")
    refused_by(browser, "POST", "/people", {413}, data={"csrf": token, "name": "x" * 30_000})

    async def pieces():
        yield f"csrf={token}&name=".encode()
        for _ in range(100):
            yield b"x" * 10_000

    kind = {"content-type": "application/x-www-form-urlencoded"}
    refused_by(browser, "POST", "/people", {413}, content=pieces(), headers=kind)
    head = b'--x\r\nContent-Disposition: form-data; name="csrf"\r\n\r\n' + token.encode() + b"\r\n--x\r\n"

    async def file():
        yield head + b'Content-Disposition: form-data; name="photograph"; filename="a.png"\r\n\r\n'
        for _ in range(100):
            yield b"x" * 10_000

    kind = {"content-type": "multipart/form-data; boundary=x"}
    refused_by(browser, "POST", "/people", {413}, content=file(), headers=kind)
    lies = {"content-length": "-1", "content-type": "application/x-www-form-urlencoded"}
    refused_by(browser, "POST", "/people", {400}, content=b"csrf=1", headers=lies)
    assert browser.get("/").status_code == 200


def test_a_form_of_very_many_fields_is_refused(people, refused_by):
    """More fields than any form of the desk has are refused, not read."""
    browser = people.browser("administrator")
    form = "&".join([f"csrf={browser.token('/password')}"] + ["a=1"] * 2000)
    kind = {"content-type": "application/x-www-form-urlencoded"}
    refused_by(browser, "POST", "/people", {403}, content=form.encode(), headers=kind)


@pytest.mark.parametrize("path", ["/login%3Fx", "/login%23", "/people%3Fx=/login"])
def test_a_hidden_question_mark_opens_nothing(people, path):
    """What stands behind a question mark that is part of a name doesn't make another address of it."""
    assert people.browser().get(path).status_code in {303, 404}
    assert people.browser("reader").get(path).status_code == 404


def test_an_error_of_ours_tells_nothing_and_is_shut_tight(people, monkeypatch):
    """Whatever goes wrong inside, the answer has all headers and no word of what it was."""

    def fail(*_):
        raise RuntimeError("a secret detail")  # noqa: TRY003

    monkeypatch.setattr("wideroll.server.people.pages.people_rows", fail)
    monkeypatch.setattr("wideroll.server.people.api.people_rows", fail)
    browser = people.browser("administrator")
    for path in ("/people", "/api/people"):
        answer = browser.get(path)
        assert answer.status_code == 500
        assert "secret detail" not in answer.text
        assert "script-src 'self'" in answer.headers["content-security-policy"]
    assert answer.json()["error"]["status"] == 500


def test_a_script_in_a_text_stays_text(people):
    """What people or strangers write comes back escaped, names and refusals alike, and policies let none run."""
    browser = people.browser("administrator")
    made = browser.post("/people", "/people", {"name": "birch", "shown": _EVIL, "roles": ["reader"]})
    assert made.status_code == 303
    people.browser().get(f"/api/{_EVIL}")
    people.browser().log_in(_EVIL)
    for path in ("/people", "/people/birch", "/people/log", f"/{_EVIL}", f"/login?next={_EVIL}"):
        answer = browser.get(path)
        assert "<script>alert" not in answer.text, path
        policy = answer.headers["content-security-policy"]
        assert "script-src 'self'" in policy
        assert "unsafe" not in policy
    assert "&lt;script&gt;" in browser.get("/people").text
    folder = people.root / "results" / "4711"
    folder.mkdir()
    (folder / "decision.json").write_text(json.dumps({"roll": "4711", "verdict": _EVIL, "why": _EVIL}))
    assert "<script>alert" not in browser.get("/").text


@pytest.mark.parametrize(
    "address",
    [
        "https://elsewhere.example/",
        "//elsewhere.example",
        "/\\elsewhere.example",
        "\\\\elsewhere.example",
        "/\t/elsewhere.example",
        "javascript:alert(1)",
        "http:elsewhere.example",
        " //elsewhere.example",
        "/x\r\nSet-Cookie: a=b",
        "/logout",
        "/" + "x" * 2001,
        "",
    ],
)
def test_the_login_leads_to_no_other_site(people, address):
    """Whatever the address to go on to, it is a page of this desk; else one goes on to the rolls."""
    browser = people.browser()
    answer = browser.log_in("reader", next=address)
    assert answer.headers.get("location", "/") == "/"
    assert not any("a=b" in line for line in answer.headers.get_list("set-cookie"))
    answer = people.browser("reader").request("GET", "/login", params={"next": address})
    assert answer.headers["location"] == "/"


@pytest.mark.parametrize(
    "hosts",
    [
        ["elsewhere.example"],
        ["127.0.0.1.elsewhere.example:8642"],
        ["127.0.0.1@elsewhere.example"],
        ["127.0.0.1", "elsewhere.example"],
        ["127.0.0.1:8642/x"],
        [""],
    ],
)
def test_asked_for_by_another_name_the_desk_tells_nothing(people, refused_by, hosts):
    """A name that isn't the desk's, two names, or none: refused, without a word of the plant or the person."""
    headers = [("host", host) for host in hosts]
    answer, line = refused_by(people.browser("administrator"), "GET", "/people", {421}, headers=headers)
    assert "Administrator A." not in answer.text
    assert people.root.name not in answer.text
    assert "doesn't answer to that name" in line.what


def test_nobody_learns_which_names_there_are(people):
    """Known names, unknown ones, disabled ones and those without a password get the same answer."""
    change_person(people.database, people.hand, "examiner", disabled=True)
    people.browser("administrator").post("/people", "/people", {"name": "line", "shown": "Line", "roles": ["reader"]})
    answers = set()
    for name in ("reader", "nobody", "examiner", "line"):
        answer = people.browser().log_in(name, "no such password")
        answers.add((answer.status_code, re.sub(r'value="[^"]*"', "", answer.text), tuple(sorted(answer.headers))))
    assert len(answers) == 1
    about = {line.about for line in people.log()}
    assert about == {"reader", "examiner", "line", "a name that nobody has"}


def test_a_token_does_only_what_its_scopes_say(people, routes, refused_by):
    """Each address below /api refuses a token whose scopes lack what it asks for, though its person may."""
    every = {"Authorization": people.bearer("engineer", "read")["Authorization"]}
    lacking = {"Authorization": people.bearer("engineer", "complain")["Authorization"]}
    browser = people.browser()
    assert browser.get("/api/rolls", headers=every).status_code == 200
    tried = 0
    for method, path, wanted, raw in routes:
        if not raw.startswith("/api/") or all("complain" in acts for acts in wanted):
            continue
        answer, line = refused_by(browser, method, path, {403}, headers=lacking)
        assert answer.json()["error"]["status"] == 403
        assert line.who.startswith("Engineer A., by token t-")
        tried += 1
    assert tried > 2


def test_a_token_is_for_programs_only(people, refused_by):
    """Outside /api a token counts for nothing; below it the cookies beside it don't count; a wrong one is refused."""
    good = people.bearer("reader", "read")
    assert people.browser().get("/", headers=good).status_code == 303
    for wrong in ("Bearer nothing", "Bearer ", "bearer wideroll_" + "x" * 43, "Bearer " + "x" * 5000):
        browser = people.browser("administrator")
        answer, _ = refused_by(browser, "GET", "/api/people", {401}, headers={"Authorization": wrong})
        assert answer.headers["www-authenticate"] == "Bearer"
    old = people.bearer("reader", "read", days=1)
    people.clock.ahead += 86_400
    refused_by(people.browser(), "GET", "/api/rolls", {401}, headers=old)


def test_a_lost_role_takes_the_scope_along(people):
    """A token can't do what its person may no longer do."""
    header = people.bearer("engineer", "read", "decide")
    change_person(people.database, people.hand, "engineer", roles=["control room"])
    assert people.browser().get("/api/rolls", headers=header).status_code == 200
    scope = {
        "type": "http",
        "app": people.app,
        "path": "/api/rolls",
        "root_path": "",
        "headers": [(b"host", b"127.0.0.1"), (b"authorization", header["Authorization"].encode())],
    }
    person = who_asks(Request(scope)).person
    assert (person.may("read"), person.may("decide")) == (True, False)


def test_a_flood_of_refusals_does_not_fill_the_disk(people):
    """Of one minute's refusals the first three hundred are written, and a line that says there were more."""
    people.entrance.clock = lambda: 1_790_000_000.0
    request = Request({"type": "http", "headers": [], "client": ("127.0.0.1", 1)})
    for _ in range(310):
        people.entrance.log("refused", request, who="", what="no token", about="/api/rolls")
    assert people.database.rows("SELECT count(*) FROM log WHERE kind = 'refused'") == [(300,)]
    assert "not written one by one" in people.log()[0].what


def test_a_log_that_cannot_be_written_stops_nobody(people, capsys):
    """Where the disk refuses, the line goes to standard error and the answer is the same."""
    assert people.entrance.closed
    people.entrance.database().close()
    assert people.browser().get("/api/rolls").status_code == 401
    assert "The desk can't write its log" in capsys.readouterr().err
