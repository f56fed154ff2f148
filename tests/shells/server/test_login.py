"""Coming in, staying, going out; one person alone; the page of people."""

import re
from dataclasses import replace

import pytest
from starlette.requests import Request

from wideroll.errors import InputError
from wideroll.people import change_person
from wideroll.server.access import Person, sign_off


def _request(app):
    """A bare request to a desk."""
    scope = {"type": "http", "app": app, "headers": [], "path": "/rolls/4711/decide", "client": ("127.0.0.1", 1)}
    return Request(scope)


def test_alone_at_the_machine_no_login_is_needed_and_every_page_says_so(alone):
    """Without people every page opens and its head says who acts; nothing is written for it."""
    for path in ("/", "/people", "/password", "/nowhere"):
        assert "W. Cedar, alone at this machine: no login is needed" in alone.get(path).text
    assert alone.get("/login").headers["location"] == "/"


def test_the_first_person_ends_being_alone(alone):
    """From the page: the first must be an administrator with a password; then everybody logs in, at once."""
    given = {"name": "alder", "shown": "M. Alder", "roles": ["reader"], "password": "grey web under lamp"}
    answer = alone.post("/people", "/people", given)
    assert answer.status_code == 422
    assert "the first person must be an administrator" in answer.text
    assert 'value="alder"' in answer.text
    assert "grey web" not in answer.text
    answer = alone.post("/people", "/people", given | {"roles": ["reader", "administrator"]})
    assert (answer.status_code, answer.headers["location"]) == (303, "/login")
    assert alone.get("/").headers["location"] == "/login"
    assert alone.log_in("alder").status_code == 303
    assert "M. Alder (reader, administrator)" in alone.get("/people").text
    assert "W. Cedar" not in alone.get("/people").text


def test_whoever_has_not_said_who_they_are_is_led_to_the_login_and_back(people):
    """A page leads to the login, which leads on to that page with its query; below /api it is a 401."""
    browser = people.browser()
    answer = browser.get("/people/log?kind=refused")
    assert answer.headers["location"] == "/login?next=%2Fpeople%2Flog%3Fkind%3Drefused"
    form = browser.get(answer.headers["location"]).text
    assert 'name="next" value="/people/log?kind=refused"' in form
    answer = browser.log_in("administrator", next="/people/log?kind=refused")
    assert (answer.status_code, answer.headers["location"]) == (303, "/people/log?kind=refused")
    assert browser.get("/people/log?kind=refused").status_code == 200
    refused = people.browser().get("/api/rolls")
    assert refused.status_code == 401
    assert set(refused.json()["error"]) == {"status", "where", "rule", "mend"}


def test_the_cookie_of_a_session_is_for_this_desk_alone(people):
    """No script reads it, no other site's page sends it, its name has the port, and it isn't kept on disk."""
    browser = people.browser()
    lines = browser.log_in("reader").headers.get_list("set-cookie")
    [line] = [line for line in lines if "session=" in line]
    assert re.fullmatch(r"wideroll-8642-session=[\w-]{43}; HttpOnly; SameSite=Strict; Path=/", line)


@pytest.fixture
def desk_over_https(desk_rules):
    """The rules of a desk that browsers reach by https."""
    return replace(desk_rules, behind_https=True)


def test_over_https_no_other_site_can_set_the_cookie(tmp_path, desk_over_https, make_people):
    """Where browsers come by https the cookie is a __Host- one and only goes over https."""
    browser = make_people(tmp_path, desk_over_https).browser(base_url="https://127.0.0.1:8642")
    assert any(
        re.fullmatch(r"__Host-wideroll-session=[\w-]{43}; HttpOnly; SameSite=Strict; Path=/; Secure", line)
        for line in browser.log_in("reader").headers.get_list("set-cookie")
    )


def test_a_session_ends_by_logging_out(people):
    """After logging out the old cookie opens nothing, wherever it is kept."""
    browser = people.browser()
    browser.log_in("reader")
    old = dict(browser.cookies)
    answer = browser.post("/logout", "/")
    assert answer.headers["location"] == "/login"
    other = people.browser()
    for name, value in old.items():
        other.cookies.set(name, value, domain="127.0.0.1")
    assert other.get("/").headers["location"] == "/login"


def test_a_session_ends_by_itself(people):
    """After eight hours unused it has ended; used, it lasts a day."""
    browser, busy = people.browser("reader"), people.browser("reader")
    for _ in range(3):
        people.clock.ahead += 4 * 3600
        assert busy.get("/").status_code == 200
    assert browser.get("/").status_code == 303
    for _ in range(4):
        people.clock.ahead += 4 * 3600
        last = busy.get("/").status_code
    assert last == 303


def test_a_disabled_person_is_out_at_once(people):
    """A session in use opens nothing from the moment its person is disabled."""
    browser = people.browser("reader")
    assert browser.get("/").status_code == 200
    change_person(people.database, people.hand, "reader", disabled=True)
    assert browser.get("/").status_code == 303


def test_after_some_wrong_passwords_the_next_try_must_wait(people):
    """Five wrong ones for a name, then 429 even for the right one; after the wait it goes on. All of it is logged."""
    browser = people.browser()
    assert [browser.log_in("reader", "no such password").status_code for _ in range(6)] == [401] * 5 + [429]
    late = browser.log_in("reader")
    assert late.status_code == 429
    assert "Wait 1 min" in late.text
    assert 0 < int(late.headers["retry-after"]) <= 30
    assert people.browser().log_in("examiner").status_code == 303
    people.clock.ahead += 31
    assert browser.log_in("reader").status_code == 303
    assert [line.what for line in people.log()].count("login: wrong name or password") == 5
    assert {line.about for line in people.log()} == {"reader"}


def test_one_address_may_not_try_many_names(people):
    """Twenty wrong tries from one address, whatever the names, then that address must wait; others needn't."""
    browser = people.browser()
    answers = [browser.log_in(f"name{n}", "no such password").status_code for n in range(21)]
    assert answers == [401] * 20 + [429]
    assert people.browser(client=("127.0.0.2", 1)).log_in("reader").status_code == 303


def test_what_goes_wrong_at_the_login_loses_only_the_password(people):
    """The name stays typed, the password never comes back, and the problem leads to its field."""
    answer = people.browser().log_in("reader", "no such password")
    assert 'value="reader"' in answer.text
    assert "no such password" not in answer.text
    assert '<a href="#password">Name or password isn&#39;t right.</a>' in answer.text
    assert people.browser().log_in("", "").status_code == 422


def test_signing_asks_for_the_password_again(people):
    """The right password signs; a wrong one, one of somebody else, or a token doesn't, and that is logged."""
    people.browser("engineer").get("/")
    request = _request(people.app)
    engineer = Person(name="Engineer A.", roles=("engineer",), login="engineer", how="password")
    assert sign_off(request, engineer, "grey web under lamp") == "signed by re-entered password"
    with pytest.raises(InputError, match="isn't your password"):
        sign_off(request, engineer, "a wrong password")
    with pytest.raises(InputError, match="a token can't sign"):
        sign_off(request, replace(engineer, scopes=("decide",), how="token"), "grey web under lamp")
    assert [line.what for line in people.log()] == ["signing: a token can't sign", "signing: isn't your password"]
    assert {line.who for line in people.log()} == {"Engineer A."}
    assert sign_off(request, Person(name="W. Cedar", roles=(), alone=True), "") == ""


def test_signing_cannot_be_guessed(people):
    """After five wrong passwords even the right one must wait, as at the login."""
    request = _request(people.app)
    engineer = Person(name="Engineer A.", roles=("engineer",), login="engineer", how="password")
    for _ in range(5):
        with pytest.raises(InputError, match="isn't your password"):
            sign_off(request, engineer, "a wrong password")
    with pytest.raises(InputError, match="Wait 1 min"):
        sign_off(request, engineer, "grey web under lamp")


def test_ones_own_password_can_be_changed(people):
    """The old one is asked for; then it opens nothing, other sessions have ended, and this browser goes on."""
    browser, other = people.browser(), people.browser("reader")
    browser.log_in("reader")
    wanted = {"old": "grey web under lamp", "new": "another grey lamp", "again": "another grey lamp"}
    for wrong in ({"old": "not this one"}, {"again": "another grey lamb"}, {"new": "short", "again": "short"}):
        assert browser.post("/password", "/password", wanted | wrong).status_code == 422
    assert browser.post("/password", "/password", wanted).headers["location"] == "/password?done=1"
    assert browser.get("/").status_code == 200
    assert other.get("/").status_code == 303
    assert people.browser().log_in("reader").status_code == 401
    assert people.browser().log_in("reader", "another grey lamp").status_code == 303


def test_an_administrator_changes_people_and_each_change_is_shown(people):
    """Adding, roles, password, token, revoking, disabling: from the pages, and each is shown with who did it."""
    browser = people.browser("administrator")
    new = {"name": "birch", "shown": "K. Birch", "roles": ["examiner"], "password": "grey web under lamp"}
    assert browser.post("/people", "/people", new).headers["location"] == "/people/birch?done=added"
    page = "/people/birch"
    browser.post(f"{page}/roles", page, {"roles": ["examiner", "technician"]})
    browser.post(f"{page}/password", page, {"password": "another grey lamp"})
    made = browser.post(f"{page}/tokens", page, {"token": "bench", "scopes": ["read", "measure"], "days": "30"})
    secret = re.search(r"wideroll_[\w-]{43}", made.text)[0]
    assert people.browser().get("/api/rolls", headers={"Authorization": f"Bearer {secret}"}).status_code == 200
    browser.post("/people/tokens/bench/revoke", page)
    assert people.browser().get("/api/rolls", headers={"Authorization": f"Bearer {secret}"}).status_code == 401
    browser.post(f"{page}/coming-in", page, {"disabled": "yes"})
    shown = browser.get("/people/log?kind=change").text
    for what in (
        "added K. Birch as examiner",
        "roles: examiner, technician",
        "another password",
        "token bench for read, measure, 30 days",
        "token bench revoked",
        "disabled",
    ):
        assert re.search(rf"<td>Administrator A\.</td><td>{what}[^<]*</td>", shown), what
    assert secret not in browser.get(page).text
    assert browser.get("/api/people").json()["people"][1]["disabled"] is True


@pytest.mark.parametrize(
    ("path", "data", "words"),
    [
        ("/people", {"name": "Birch!", "shown": "K. Birch", "roles": "reader"}, "1 to 64 letters"),
        ("/people", {"name": "reader", "shown": "K. Birch", "roles": "reader"}, "nobody else may have the name"),
        ("/people", {"name": "birch", "shown": "K. Birch"}, "at least one of"),
        ("/people", {"name": "birch", "shown": "K. Birch", "roles": "reader", "password": "short"}, "12 to 256"),
        ("/people/reader/roles", {"roles": "king"}, "at least one of"),
        ("/people/administrator/roles", {"roles": "reader"}, "somebody must be left"),
        ("/people/administrator/coming-in", {"disabled": "yes"}, "somebody must be left"),
        ("/people/reader/password", {"password": ""}, "12 to 256"),
        ("/people/reader/tokens", {"token": "x", "scopes": "decide", "days": "9"}, "must be within what reader may"),
        ("/people/reader/tokens", {"token": "x", "scopes": "read", "days": "9.5"}, "must be a whole number"),
        ("/people/reader/tokens", {"token": "x", "scopes": "read", "days": "999"}, "must be 1 to 366"),
    ],
)
def test_a_form_of_people_says_what_is_wrong(people, path, data, words):
    """What can't be taken is told on the form with its rule and mend, and changes nothing."""
    before = people.log("change")
    page = path if path.count("/") == 1 else path.rsplit("/", 1)[0]
    answer = people.browser("administrator").post(path, page, data)
    assert answer.status_code == 422
    assert words in answer.text
    assert people.log("change") == before


def test_a_spreadsheet_takes_no_name_for_a_formula(people):
    """In CSV a text that begins like a formula is marked as text."""
    browser = people.browser("administrator")
    browser.post("/people", "/people", {"name": "birch", "shown": "=1+1", "roles": ["reader"]})
    assert "'=1+1" in browser.get("/people?format=csv").text


def test_a_link_from_elsewhere_keeps_one_logged_in(people):
    """After a link in a letter the browser keeps the cookie back: a page of our own leads on, and then it is sent."""
    answer = people.browser().get("/people?done=revoked", headers={"sec-fetch-site": "cross-site"})
    assert answer.status_code == 200
    assert '<meta http-equiv="refresh" content="0;url=/people?done=revoked">' in answer.text
    assert people.browser().get("/people", headers={"sec-fetch-site": "same-origin"}).status_code == 303
