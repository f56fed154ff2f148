"""Cards published to a real broker, mosquitto, started by each test on this machine alone."""

import gc
import json
import shutil
import socket
import subprocess
import warnings
from dataclasses import replace

import pytest

from wideroll.errors import InputError
from wideroll.notices import open_sinks
from wideroll.workflow import MqttNotice
from wideroll.workflow.card_json import card_json, trial_card


def _sink(root, port, **fields):
    given = {"topic": "line-1/cards/{roll}", "timeout_s": 5.0, **fields}
    (sink,) = open_sinks([MqttNotice(name="bus", host="127.0.0.1", port=port, **given)], root, "W-7")
    return replace(sink, pauses_s=(0.0, 0.0))


def _wait(waiting, heard, count=1):
    waiting(lambda: len(heard) >= count, f"{len(heard)} of {count} cards arrived")


@pytest.mark.parametrize("version", ["5", "3.1.1"])
@pytest.mark.parametrize("qos", [0, 1])
def test_a_card_arrives(broker, listen, card, tmp_path, waiting, version, qos):
    """Who subscribes gets the card, with either protocol and each quality of service."""
    heard = listen(broker.port, "line-1/cards/#")
    _sink(tmp_path, broker.port, version=version, qos=qos).send(card)
    _wait(waiting, heard)
    (message,) = heard
    assert message.topic == "line-1/cards/W-7"
    assert json.loads(message.payload) == card_json(card)
    assert not message.retain


def test_a_kept_card_waits_for_who_comes_later(broker, listen, card, tmp_path, waiting):
    """With retain, one who subscribes afterwards gets the last card."""
    sink = _sink(tmp_path, broker.port, retain=True)
    sink.send(card)
    sink.send(replace(card, number=3))
    heard = listen(broker.port, "line-1/cards/#")
    _wait(waiting, heard)
    assert [json.loads(message.payload)["number"] for message in heard] == [3]
    assert heard[0].retain


def test_a_test_doesnt_take_the_place_of_the_last_card(broker, listen, card, tmp_path, waiting):
    """A test card arrives but isn't kept by the broker, which would hide the last card from who comes later."""
    sink, at_once = _sink(tmp_path, broker.port, retain=True), listen(broker.port, "line-1/cards/#")
    sink.send(card)
    sink.send(trial_card(card.plant, "test-1"))
    _wait(waiting, at_once, 2)
    later = listen(broker.port, "line-1/cards/#")
    _wait(waiting, later)
    assert [json.loads(message.payload)["number"] for message in later] == [card.number]


def test_a_broker_that_is_down_is_an_error(card, tmp_path):
    """Nobody at the port is said with notice, topic and place."""
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        port = found.getsockname()[1]
    said = r"notice bus \(MQTT topic line-1/cards/\{roll\} at 127.0.0.1:\d+\): .*Connection refused, at the last of 3"
    with pytest.raises(InputError, match=said):
        _sink(tmp_path, port).send(card)


def test_a_broker_that_says_nothing_is_left(card, tmp_path):
    """A port that takes the connection and never answers holds nobody up beyond the time of a try."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        sink = replace(_sink(tmp_path, server.getsockname()[1], timeout_s=0.5), pauses_s=())
        with pytest.raises(InputError, match=r"no answer within 0\.5 s"):
            sink.send(card)


def test_a_broker_started_anew_gets_the_next_card(broker, listen, card, tmp_path, waiting):
    """The sink outlives the broker: what can't be delivered is an error, and the next card arrives."""
    sink = _sink(tmp_path, broker.port)
    sink.send(card)
    broker.stop()
    with pytest.raises(InputError, match="the card must arrive"):
        sink.send(replace(card, number=3))
    broker.start()
    heard = listen(broker.port, "line-1/cards/#")
    sink.send(replace(card, number=4))
    _wait(waiting, heard)
    assert [json.loads(message.payload)["number"] for message in heard] == [4]


@pytest.fixture
def guarded(broker):
    """The broker started anew with a user, who may write to one topic only."""
    broker.stop()
    for name in ("line", "reader"):
        create = [] if name == "reader" else ["-c"]
        subprocess.run(
            ["mosquitto_passwd", "-b", *create, broker.folder / "users", name, "right"], check=True, capture_output=True
        )
    acl = broker.folder / "acl"
    acl.write_text("user line\ntopic write line-1/#\nuser reader\ntopic read line-1/#\n")
    acl.chmod(0o600)
    broker.extra = f"allow_anonymous false\npassword_file {broker.folder / 'users'}\nacl_file {acl}\n"
    broker.start()
    return broker


@pytest.mark.parametrize("version", ["5", "3.1.1"])
def test_a_password_lets_in(guarded, listen, card, tmp_path, waiting, version):
    """With the user's name and the file of the password the card arrives."""
    heard = listen(guarded.port, "line-1/#", name="reader", password="right")
    (tmp_path / "bus.key").write_text("right\n")
    _sink(tmp_path, guarded.port, username="line", password_file="bus.key", version=version).send(card)
    _wait(waiting, heard)


@pytest.mark.parametrize("version", ["5", "3.1.1"])
def test_a_wrong_password_is_refused_once(guarded, card, tmp_path, version):
    """The broker's no is said in its words, without the password."""
    (tmp_path / "bus.key").write_text("sesame\n")
    sink = _sink(tmp_path, guarded.port, username="line", password_file="bus.key", version=version)
    with pytest.raises(InputError, match=r"must be taken, got 'connecting: Not authorized'") as caught:
        sink.send(card)
    assert "sesame" not in str(caught.value)
    assert "sesame" not in repr(sink)


def test_a_topic_that_isnt_allowed_is_said(guarded, card, tmp_path):
    """With protocol 5 a broker that throws the card away says so, and that isn't taken for delivery."""
    (tmp_path / "bus.key").write_text("right\n")
    sink = _sink(tmp_path, guarded.port, topic="other", username="line", password_file="bus.key")
    with pytest.raises(InputError, match="must be taken, got 'publishing: Not authorized'"):
        sink.send(card)


@pytest.fixture
def encrypted(broker):
    """The broker started anew with TLS, and a certificate it signed itself."""
    program = shutil.which("openssl")
    assert program is not None, "openssl isn't installed: apt-get install openssl"
    files = [broker.folder / "broker.crt", broker.folder / "broker.key"]
    named = ["-subj", "/CN=broker", "-addext", "subjectAltName=IP:127.0.0.1"]
    new = ["req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2"]
    subprocess.run([program, *new, *named, "-out", files[0], "-keyout", files[1]], check=True, capture_output=True)
    broker.stop()
    broker.extra = f"allow_anonymous true\ncertfile {files[0]}\nkeyfile {files[1]}\n"
    broker.start()
    return broker


def test_only_a_trusted_broker_gets_the_card(encrypted, card, tmp_path):
    """With the broker's own certificate the card is taken; without it the broker isn't trusted."""
    _sink(tmp_path, encrypted.port, tls=True, ca_file=str(encrypted.folder / "broker.crt")).send(card)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ResourceWarning)  # paho leaves a socket that isn't trusted to the collector
        with pytest.raises(InputError, match="certificate verify failed"):
            _sink(tmp_path, encrypted.port, tls=True).send(card)
        gc.collect()


def test_a_file_without_certificates_is_said(tmp_path):
    """A ca_file that holds none is an error before anything runs."""
    (tmp_path / "ca.pem").write_text("nothing\n")
    with pytest.raises(InputError, match=r"ca\.pem: the file must hold certificates"):
        _sink(tmp_path, 8883, tls=True, ca_file="ca.pem")


def test_an_extra_that_is_missing_is_said(tmp_path, monkeypatch):
    """Without the package the mend is the command that installs it."""
    monkeypatch.setitem(__import__("sys").modules, "wideroll.notices.mqtt", None)
    with pytest.raises(InputError, match=r"pip install 'wideroll\[watch\]'"):
        _sink(tmp_path, 1883)
