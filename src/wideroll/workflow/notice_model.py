"""Where a plant wants its action cards: in a file, at a webhook, on an MQTT topic."""

from dataclasses import dataclass
from urllib.parse import urlsplit

__all__ = ["FileNotice", "MqttNotice", "Notice", "WebhookNotice", "notice_place"]


@dataclass(frozen=True, slots=True, kw_only=True)
class FileNotice:
    """Cards as lines of a file."""

    name: str
    path: str
    """Relative to the plant; ``{roll}`` in it stands for the roll's name."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WebhookNotice:
    """Cards posted to an address."""

    name: str
    url: str
    secret_file: str | None = None
    """Holds the key that signs each card; relative to the plant unless it begins with a slash."""
    ca_file: str | None = None
    """Certificates to trust instead of the public ones."""
    timeout_s: float = 5.0
    """Of one try."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MqttNotice:
    """Cards published on a topic of a broker."""

    name: str
    host: str
    port: int
    topic: str
    """``{roll}`` in it stands for the roll's name."""
    qos: int = 1
    """0: sent once; 1: until the broker says it has it. Doubles are told by the card's id, so 2 isn't needed."""
    retain: bool = False
    """Whether the broker keeps the last card for those who subscribe later."""
    version: str = "5"
    """Of the protocol: 5, or 3.1.1 for a broker that knows no other."""
    tls: bool = False
    ca_file: str | None = None
    username: str | None = None
    password_file: str | None = None
    client_id: str = ""
    """Empty: the broker gives one."""
    timeout_s: float = 5.0
    """Of one try."""


Notice = FileNotice | WebhookNotice | MqttNotice


def notice_place(notice: Notice) -> str:
    """Where a notice delivers, in words; of an address only the host, as its path may be known to few.

    Example:
        >>> notice_place(WebhookNotice(name="control room", url="https://desk.example:8443/hook/7f3a"))
        'webhook https://desk.example:8443'
        >>> notice_place(MqttNotice(name="line", host="127.0.0.1", port=1883, topic="line-1/cards"))
        'MQTT topic line-1/cards at 127.0.0.1:1883'
    """
    if isinstance(notice, FileNotice):
        return f"file {notice.path}"
    if isinstance(notice, WebhookNotice):
        parts = urlsplit(notice.url)
        return f"webhook {parts.scheme}://{parts.netloc}"
    return f"MQTT topic {notice.topic} at {notice.host}:{notice.port}"
