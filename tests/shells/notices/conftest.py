"""A card to deliver, a broker and a desk to deliver it to: all on this machine alone."""

import shutil
import socket
import subprocess
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from wideroll.workflow import ActionCard

PATIENCE_S = 20.0


@pytest.fixture
def card() -> ActionCard:
    """The second card of a roll."""
    return ActionCard(
        plant="Little Mere, line 1",
        roll="W-7",
        number=2,
        at_m=1325.25,
        first_m=1204.31,
        last_m=1318.4,
        across_mm=412.3,
        spacing_m=0.62832,
        spacing_low_m=0.62795,
        spacing_high_m=0.62861,
        marks=14,
        print_probability=0.61,
        roller="R07 turner",
        probability=0.9812,
        others=(("R09 drum", 0.013),),
        log10_evidence=11.3,
        false_alarm=0.001,
        zone="drying, ½",
        action="Clean R07 turner at the next stop.",
    )


def free_port() -> int:
    """A port of this machine that nobody listens on."""
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return found.getsockname()[1]


def wait_for(what: Callable[[], bool], said: str) -> None:
    """Wait until something holds; fail with words when it doesn't."""
    end = time.monotonic() + PATIENCE_S
    while not what():
        assert time.monotonic() < end, said
        time.sleep(0.02)


def _listening(port: int) -> bool:
    try:
        socket.create_connection(("127.0.0.1", port), timeout=1.0).close()
    except OSError:
        return False
    return True


@dataclass
class Broker:
    """A real broker, mosquitto, on a port of its own."""

    folder: Path
    port: int
    extra: str = "allow_anonymous true\n"
    process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Run it and wait until it listens."""
        program = shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin:/usr/bin:/usr/local/bin")
        assert program is not None, "mosquitto isn't installed: run tools/setup dev, or apt-get install mosquitto"
        config = self.folder / "mosquitto.conf"
        config.write_text(f"listener {self.port} 127.0.0.1\nuser root\npersistence false\n{self.extra}")
        with (self.folder / "mosquitto.log").open("ab") as log:
            self.process = subprocess.Popen([program, "-c", config], stdout=log, stderr=log)
        wait_for(lambda: _listening(self.port), f"mosquitto doesn't listen; {self.folder / 'mosquitto.log'} says why")

    def stop(self) -> None:
        """End it, if it runs."""
        if self.process is not None:
            self.process.terminate()
            self.process.wait(PATIENCE_S)
            self.process = None


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    """A broker that lets anybody in, running."""
    folder = tmp_path / "broker"
    folder.mkdir()
    made = Broker(folder, free_port())
    made.start()
    yield made
    made.stop()


@pytest.fixture
def listen() -> Iterator[Callable[[int, str], list]]:
    """Subscribe to topics of a broker; the list that their messages will stand in."""
    clients: list[Client] = []

    def listen(port: int, topic: str, *, name: str | None = None, password: str | None = None) -> list:
        heard: list = []
        ready = threading.Event()
        client = Client(CallbackAPIVersion.VERSION2)
        client.username_pw_set(name, password)
        client.on_connect = lambda client, *_: client.subscribe(topic, qos=1)
        client.on_subscribe = lambda *_: ready.set()
        client.on_message = lambda _client, _data, message: heard.append(message)
        client.connect("127.0.0.1", port)
        client.loop_start()
        clients.append(client)
        assert ready.wait(PATIENCE_S), "the subscriber wasn't let in"
        return heard

    yield listen
    for client in clients:
        client.disconnect()
        client.loop_stop()


@dataclass
class Desk:
    """A web server that answers as it is told and keeps what it was sent."""

    answers: list[int | tuple[int, dict[str, str]]]
    port: int = 0
    heard: list[tuple[str, dict[str, str], bytes]] = field(default_factory=list)

    @property
    def url(self) -> str:
        """Where cards are posted."""
        return f"http://127.0.0.1:{self.port}/hook/for-few"


@pytest.fixture
def desk() -> Iterator[Callable[..., Desk]]:
    """Start a desk with its answers, the last one given again and again."""
    servers: list[ThreadingHTTPServer] = []

    def start(*answers: int | tuple[int, dict[str, str]]) -> Desk:
        made = Desk(list(answers))

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers["Content-Length"]))
                made.heard.append((self.path, dict(self.headers), body))
                answer = made.answers.pop(0) if len(made.answers) > 1 else made.answers[0]
                code, headers = answer if isinstance(answer, tuple) else (answer, {})
                self.send_response(code)
                for name, value in headers.items():
                    self.send_header(name, value)
                self.send_header("Content-Length", "0")
                self.end_headers()

            do_GET = do_POST  # noqa: N815  -- the server calls it so

            def log_message(self, *_: object) -> None:
                """Say nothing."""

        server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        server.daemon_threads = True
        made.port = server.server_address[1]
        threading.Thread(target=server.serve_forever, daemon=True).start()
        servers.append(server)
        return made

    yield start
    for server in servers:
        server.shutdown()
        server.server_close()


@pytest.fixture
def waiting() -> Callable[[Callable[[], bool], str], None]:
    """Wait until something holds."""
    return wait_for
