"""Coming in by OpenID Connect: against a small provider on this machine, honest and otherwise."""

import base64
import hashlib
import hmac
import json
import re
import threading
import time
from dataclasses import replace
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from urllib.parse import parse_qs, urlsplit

import pytest
from joserfc import jwt
from joserfc.jwk import ECKey

from wideroll.people import Provider, change_person, find_person

_BACK = "http://127.0.0.1:8642/login/provider/back"


class SmallProvider:
    """Gives codes for errands and proves them; ``lie`` changes what its tokens claim."""

    def __init__(self):
        """Start it on a free port."""
        self.key, self.other = (ECKey.generate_key("P-256", {"kid": kid}) for kid in ("k1", "k1"))
        self.signs_with, self.algorithm = self.key, "ES256"
        self.lie, self.claims, self.codes = {}, {}, {}
        provider = self

        class Answers(BaseHTTPRequestHandler):
            def do_GET(self):
                """What it says of itself, and its keys."""
                if self.path == "/.well-known/openid-configuration":
                    self.answer(200, provider.about())
                elif self.path == "/keys":
                    self.answer(200, {"keys": [provider.key.as_dict(private=False)]})
                else:
                    self.answer(404, {})

            def do_POST(self):
                """A token for a code, once, for the right client and verifier."""
                form = parse_qs(self.rfile.read(int(self.headers["content-length"])).decode())
                self.answer(*provider.redeem({name: one[0] for name, one in form.items()}, self.headers))

            def answer(self, status, document):
                data = json.dumps(document).encode()
                self.send_response(status)
                self.send_header("content-type", "application/json")
                self.send_header("content-length", str(len(data)))
                self.end_headers()
                self.wfile.write(data)

            def log_message(self, *_):
                """Say nothing."""

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Answers)
        self.issuer = f"http://127.0.0.1:{self.server.server_port}"
        threading.Thread(target=self.server.serve_forever, args=(0.02,), daemon=True).start()

    def about(self):
        """What it says of itself."""
        ends = {"authorization_endpoint": "/ask", "token_endpoint": "/token", "jwks_uri": "/keys"}
        return {"issuer": self.issuer} | {name: self.issuer + path for name, path in ends.items()}

    def ask(self, address):
        """The person says who they are there; what the browser brings back."""
        sent = {name: one[0] for name, one in parse_qs(urlsplit(address).query).items()}
        assert sent["response_type"] == "code"
        assert sent["code_challenge_method"] == "S256"
        assert sent["redirect_uri"] == _BACK
        assert sent["scope"].split()[0] == "openid"
        code = f"code-{len(self.codes)}"
        self.codes[code] = sent
        return {"state": sent["state"], "code": code}

    def redeem(self, form, headers):
        """A token for a code."""
        sent = self.codes.pop(form["code"], None)
        digest = hashlib.sha256(form["code_verifier"].encode()).digest()
        challenge = base64.urlsafe_b64encode(digest).rstrip(b"=").decode()
        client = base64.b64decode(headers["authorization"].removeprefix("Basic ")).decode()
        if sent is None or challenge != sent["code_challenge"] or client != "desk:not-told":
            return 400, {"error": "invalid_grant"}
        now = int(time.time())
        claims = {"iss": self.issuer, "sub": "s-1", "aud": "desk", "nonce": sent["nonce"], "iat": now, "exp": now + 300}
        claims = {name: one for name, one in (claims | self.claims | self.lie).items() if one is not None}
        token = jwt.encode({"alg": self.algorithm, "kid": "k1"}, claims, self.signs_with, [self.algorithm])
        return 200, {"access_token": "none", "token_type": "Bearer", "id_token": token}


@pytest.fixture
def provider():
    """A provider that knows one engineer."""
    made = SmallProvider()
    made.claims = {"preferred_username": "alder@plant.example", "name": "M. Alder", "roles": ["film-release", "other"]}
    yield made
    made.server.shutdown()
    made.server.server_close()


@pytest.fixture
def people(tmp_path, desk_rules, make_people, provider):
    """A desk with people of its own, and that provider; its clock is the machine's."""
    (tmp_path / "provider.key").write_text("not-told\n")
    table = Provider(
        issuer=provider.issuer,
        client_id="desk",
        secret_file="provider.key",
        roles={"film-release": "engineer", "film-bench": "examiner"},
    )
    made = make_people(tmp_path, replace(desk_rules, provider=table))
    made.entrance.clock = time.time
    return made


def _come(people, provider, browser=None, after="/people"):
    """Go there and back again."""
    browser = browser or people.browser()
    there = browser.request("GET", "/login/provider", params={"next": after})
    assert there.status_code == 303, there.text
    brought = provider.ask(there.headers["location"])
    return browser, browser.request("GET", "/login/provider/back", params=brought), brought


def test_who_is_proved_comes_in_with_the_roles_of_their_claim(people, provider):
    """At the first coming the person is added; then they are in, and go on to the page they asked for."""
    browser, answer, _ = _come(people, provider)
    assert '<meta http-equiv="refresh" content="0;url=/people">' in answer.text
    assert "M. Alder (engineer)" in browser.get("/").text
    card = find_person(people.database, "alder")
    assert (card.shown, card.roles, card.has_password) == ("M. Alder", ("engineer",), False)
    assert people.log("login")[0].what == "came in by provider"
    assert people.log("change")[0].who == "the provider of names"
    assert "Log in by the plant&#39;s accounts" in people.browser().get("/login").text


def test_the_roles_are_those_of_today(people, provider):
    """Another claim at the next coming changes the roles, and the log says so; the same person is known by subject."""
    _come(people, provider)
    provider.claims |= {"preferred_username": "renamed", "roles": "film-bench"}
    browser, _, _ = _come(people, provider)
    assert "M. Alder (examiner)" in browser.get("/").text
    assert people.log("change")[0].what == "roles: examiner (were engineer)"
    assert find_person(people.database, "renamed") is None


@pytest.mark.parametrize(
    "lie",
    [
        {"aud": "another-desk"},
        {"aud": ["desk", "another"], "azp": "another"},
        {"iss": "http://127.0.0.1:1"},
        {"exp": -3600, "iat": -7200},
        {"exp": None},
        {"iat": 7200},
        {"nonce": "of-another-errand"},
        {"nonce": None},
        {"sub": None},
        {"sub": ""},
        {"aud": None},
    ],
    ids=str,
)
def test_a_token_for_somebody_or_something_else_is_refused(people, provider, lie):
    """Another desk's, another provider's, old, without nonce or subject: nobody comes in, and it is logged."""
    now = int(time.time())
    provider.lie = {name: now + one if isinstance(one, int) else one for name, one in lie.items()}
    browser, answer, _ = _come(people, provider)
    assert answer.status_code == 403
    assert browser.get("/").status_code == 303
    assert "the provider must prove who it is" in people.log()[0].what
    assert find_person(people.database, "alder") is None


@pytest.mark.parametrize("forgery", ["another key", "its public key as a secret", "no signature", "nonsense"])
def test_a_token_that_the_provider_did_not_sign_is_refused(people, provider, forgery, monkeypatch):
    """Signed by another key, by the public key as if it were a secret, or not at all: refused."""
    if forgery == "another key":
        provider.signs_with = provider.other
    else:

        def redeem(*_):
            forged = "no token" if forgery == "nonsense" else _forged(provider, secret="secret" in forgery)
            return 200, {"access_token": "x", "id_token": forged}

        monkeypatch.setattr(provider, "redeem", redeem)
    _, answer, _ = _come(people, provider)
    assert answer.status_code == 403
    assert "the provider must prove who it is" in people.log()[0].what


def test_what_comes_back_counts_once_and_for_its_browser(people, provider):
    """A replay, another browser, a changed state and an old errand are refused; a stolen state spends the errand."""
    browser, _, brought = _come(people, provider)
    again = browser.request("GET", "/login/provider/back", params=brought)
    assert again.status_code == 403
    mine = people.browser()
    there = mine.get("/login/provider")
    brought = provider.ask(there.headers["location"])
    for params in (brought | {"state": "x"}, {"state": brought["state"]}, {}):
        thief = people.browser()
        assert thief.request("GET", "/login/provider/back", params=params).status_code == 403
        assert thief.get("/").status_code == 303
    assert mine.request("GET", "/login/provider/back", params=brought).status_code == 403
    late = people.browser()
    brought = provider.ask(late.get("/login/provider").headers["location"])
    people.entrance.clock = lambda: time.time() + 601
    assert late.request("GET", "/login/provider/back", params=brought).status_code == 403
    assert {line.kind for line in people.log()} == {"refused"}
    assert len(people.log()) == 6


def test_the_cookie_of_the_errand_comes_back_from_there_and_no_other_does(people):
    """It must come along when the provider sends the browser back, so it is lax; it lasts ten minutes and then goes."""
    [line] = people.browser().get("/login/provider").headers.get_list("set-cookie")
    assert re.fullmatch(r"wideroll-8642-provider=[\w-]{43}; HttpOnly; SameSite=Lax; Max-Age=600; Path=/", line)


@pytest.mark.parametrize(
    ("claims", "words"),
    [
        ({"roles": ["nothing here"]}, "gives no role at this desk"),
        ({"roles": {"film-release": True}}, "gives no role at this desk"),
        ({"preferred_username": "engineer"}, "whom the desk knows otherwise"),
        ({"name": "Engineer A."}, "nobody else may have the name"),
        ({"preferred_username": "../alder"}, "must be 1 to 64 letters"),
        ({"preferred_username": None}, "must be 1 to 64 letters"),
    ],
)
def test_who_has_no_place_here_stays_outside(people, provider, claims, words):
    """Without a role, or under a name that somebody else has: refused, and nobody is added or taken over."""
    provider.claims |= claims
    before = people.log("change")
    _, answer, _ = _come(people, provider)
    assert answer.status_code == 403
    assert words in people.log()[0].what
    assert people.log("change") == before


def test_who_is_disabled_here_stays_outside(people, provider):
    """The provider still proves them, but the desk no longer lets them in."""
    _come(people, provider)
    change_person(people.database, people.hand, "alder", disabled=True)
    _, answer, _ = _come(people, provider)
    assert answer.status_code == 403
    assert "may no longer come in" in people.log()[0].what


def test_a_provider_that_fails_is_told(people, provider, monkeypatch):
    """Wrong secret, another issuer, or nobody there: an error page that says so, no session."""
    (people.root / "provider.key").write_text("wrong\n")
    _, answer, _ = _come(people, provider)
    assert answer.status_code == 403
    (people.root / "provider.key").unlink()
    _, answer, _ = _come(people, provider)
    assert "the file with the secret must be readable" in answer.text
    monkeypatch.setattr(provider, "about", lambda: {"issuer": "http://elsewhere.example"})
    assert people.browser().get("/login/provider").status_code == 403
    provider.server.shutdown()
    provider.server.server_close()
    assert people.browser().get("/login/provider").status_code == 403
    assert "ConnectError" in people.log()[0].what


def test_only_a_page_of_this_desk_is_gone_on_to(people, provider):
    """The address to go on to can't lead away, on this way either."""
    _, answer, _ = _come(people, provider, after="//elsewhere.example")
    assert "url=/" in answer.text
    assert "elsewhere" not in answer.text


def _forged(provider, *, secret):
    """A token without a signature, or with one that takes the provider's public key for a secret."""
    now = int(time.time())
    [errand] = provider.codes.values()
    claims = {"iss": provider.issuer, "sub": "s-1", "aud": "desk", "nonce": errand["nonce"], "iat": now, "exp": now + 9}
    parts = ({"alg": "HS256" if secret else "none", "kid": "k1"}, claims)
    front = ".".join(_b64(json.dumps(part).encode()) for part in parts)
    key = provider.key.as_pem(private=False)
    return f"{front}.{_b64(hmac.digest(key, front.encode(), 'sha256')) if secret else ''}"


def _b64(data):
    return base64.urlsafe_b64encode(data).rstrip(b"=").decode()
