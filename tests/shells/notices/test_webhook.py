"""Cards posted to a desk, a real web server on this machine."""

import hashlib
import hmac
import json
import socket
import ssl
import threading
from dataclasses import replace

import pytest

from wideroll.errors import InputError
from wideroll.notices import open_sinks
from wideroll.notices.webhook import WebhookSink, signature
from wideroll.workflow import WebhookNotice
from wideroll.workflow.card_json import card_json

_SECRET = "tell nobody"


def _sink(url, **fields):
    given = {"pauses_s": (0.0, 0.0), "timeout_s": 5.0, "secret": _SECRET.encode(), **fields}
    return WebhookSink(where="notice desk", url=url, tls=ssl.create_default_context(), **given)


def test_a_card_arrives_signed(desk, card, tmp_path):
    """The desk gets the card as JSON, can check who sent it, and has an id to drop doubles by."""
    answering = desk(204)
    (tmp_path / "desk.key").write_text(f"{_SECRET}\n")
    (sink,) = open_sinks([WebhookNotice(name="desk", url=answering.url, secret_file="desk.key")], tmp_path, "W-7")
    sink.send(card)
    ((path, headers, body),) = answering.heard
    assert path == "/hook/for-few"
    assert json.loads(body) == card_json(card)
    assert headers["Content-Type"] == "application/json"
    assert headers["Idempotency-Key"] == card_json(card)["id"] == "Little%20Mere%2C%20line%201/W-7/2"
    made = hmac.new(_SECRET.encode(), body, hashlib.sha256).hexdigest()
    assert hmac.compare_digest(headers["Wideroll-Signature"], f"sha256={made}")


def test_the_signature_is_the_published_one():
    """HMAC-SHA-256 gives the value of RFC 4231, test case 2 (typed from memory)."""
    published = "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"
    assert signature(b"what do ya want for nothing?", b"Jefe") == f"sha256={published}"


def test_without_a_key_nothing_is_signed(desk, card):
    """A desk that was given no key gets no signature."""
    answering = desk(200)
    _sink(answering.url, secret=None).send(card)
    assert "Wideroll-Signature" not in answering.heard[0][1]


@pytest.mark.parametrize("first", [500, 503, 429, 408])
def test_a_desk_that_isnt_ready_is_asked_again(desk, card, first):
    """After an answer that means later, the same card with the same id is posted once more."""
    answering = desk(first, 200)
    _sink(answering.url).send(card)
    assert len(answering.heard) == 2
    assert answering.heard[0][2] == answering.heard[1][2]
    assert answering.heard[0][1]["Idempotency-Key"] == answering.heard[1][1]["Idempotency-Key"]


def test_a_desk_that_stays_ill_is_given_up(desk, card):
    """After three tries the error names the notice, the answer and how often, and no secret."""
    answering = desk(500)
    with pytest.raises(InputError, match=r"notice desk: .*500 Internal Server Error, at the last of 3 tries") as caught:
        _sink(answering.url).send(card)
    assert len(answering.heard) == 3
    assert _SECRET not in str(caught.value)


@pytest.mark.parametrize("code", [400, 401, 404, 410])
def test_a_refusal_is_not_argued_with(desk, card, code):
    """A card that the desk refuses is posted once."""
    answering = desk(code)
    with pytest.raises(InputError, match=f"must be taken.*answer {code}"):
        _sink(answering.url).send(card)
    assert len(answering.heard) == 1


@pytest.mark.parametrize("code", [301, 302, 307, 308])
def test_a_redirect_is_not_followed(desk, card, code):
    """Nothing is sent anywhere but to the address in plant.toml."""
    other = desk(200)
    answering = desk((code, {"Location": other.url}))
    with pytest.raises(InputError, match="redirects aren't followed"):
        _sink(answering.url).send(card)
    assert len(answering.heard) == 1
    assert other.heard == []


def test_no_proxy_of_the_surroundings_is_used(desk, card, monkeypatch):
    """The card goes to the desk itself, whatever the environment says."""
    answering, other = desk(200), desk(200)
    monkeypatch.setenv("HTTP_PROXY", other.url)
    monkeypatch.setenv("http_proxy", other.url)
    _sink(answering.url).send(card)
    assert len(answering.heard) == 1
    assert other.heard == []


def test_nobody_at_home_is_said_in_words(card, tmp_path):
    """A port that nobody listens on is one clear error, which shows no more of the address than the host."""
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        url = f"http://127.0.0.1:{found.getsockname()[1]}/hook/for-few"
    (sink,) = open_sinks([WebhookNotice(name="desk", url=url)], tmp_path, "W-7")
    with pytest.raises(
        InputError, match=r"notice desk \(webhook http://127.0.0.1:\d+\): .*Connection refused"
    ) as caught:
        replace(sink, pauses_s=()).send(card)
    assert "for-few" not in str(caught.value)


@pytest.mark.parametrize("drip", [b"", b"H"])
def test_a_desk_that_never_ends_its_answer_is_left(card, drip):
    """A try ends at its time, even when the desk goes on sending its answer byte by byte."""
    done = threading.Event()
    with socket.create_server(("127.0.0.1", 0)) as server:
        server.settimeout(1.0)

        def dawdle():
            try:
                talk, _ = server.accept()
            except TimeoutError:  # the try was over before it came so far
                return
            with talk:
                talk.sendall(b"HTTP/1.1 200 OK\r\nX-Slow: " if drip else b"")
                while not done.wait(0.05):
                    talk.sendall(drip)

        thread = threading.Thread(target=dawdle, daemon=True)
        thread.start()
        try:
            with pytest.raises(InputError, match=r"no answer within 0\.5 s"):
                _sink(f"http://127.0.0.1:{server.getsockname()[1]}/", timeout_s=0.5, pauses_s=()).send(card)
        finally:
            done.set()
            thread.join()


def test_a_missing_key_stops_at_the_start(tmp_path):
    """A file with a secret that isn't there is said before anything runs."""
    notice = WebhookNotice(name="desk", url="http://127.0.0.1:1/", secret_file="desk.key")
    with pytest.raises(InputError, match=r"notice desk .*desk\.key: the file with the secret must be readable"):
        open_sinks([notice], tmp_path, "W-7")


def test_an_empty_key_is_no_key(tmp_path):
    """A file whose first line is empty is refused: the desk would take anybody's cards."""
    (tmp_path / "desk.key").write_text(" \nlater\n")
    notice = WebhookNotice(name="desk", url="http://127.0.0.1:1/", secret_file="desk.key")
    with pytest.raises(InputError, match="first line must hold the secret"):
        open_sinks([notice], tmp_path, "W-7")


def test_a_secret_is_never_shown():
    """Printing a sink doesn't tell its key."""
    assert _SECRET not in repr(_sink("http://127.0.0.1:1/"))
