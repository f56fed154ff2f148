"""``[[notices]]`` of plant.toml: where action cards go besides the screen."""

import re
from pathlib import PurePosixPath
from typing import Annotated, Final, Literal
from urllib.parse import SplitResult, urlsplit

from pydantic import Field, model_validator

from wideroll.errors import ArgumentError
from wideroll.readers.fields import FileModel, Name, Positive
from wideroll.workflow.notice_model import FileNotice, MqttNotice, Notice, WebhookNotice

__all__ = ["NoticeTable"]

_NEEDED: Final = {"file": ("path",), "webhook": ("url",), "mqtt": ("host", "topic")}
_ALLOWED: Final = {
    "file": (),
    "webhook": ("secret_file", "ca_file", "timeout_s"),
    "mqtt": (
        *("port", "qos", "retain", "version", "tls", "ca_file"),
        *("username", "password_file", "client_id", "timeout_s"),
    ),
}
_ROLL: Final = "{roll}"
_INPUTS: Final = ("rolls", "products", "processors", "lots")
"""Folders of a plant whose files are evidence: what is written there would make decisions stale."""
_LONGEST_TOPIC: Final = 65535
_PORT: Final = 1883
_TLS_PORT: Final = 8883
_SECONDS: Final = 5.0


class NoticeTable(FileModel):
    """``[[notices]]`` in plant.toml; which fields it has besides name and kind depends on the kind."""

    name: Name
    kind: Literal["file", "webhook", "mqtt"]
    path: Name | None = None
    url: Annotated[str, Field(min_length=1, max_length=2000)] | None = None
    secret_file: Name | None = None
    ca_file: Name | None = None
    timeout_s: Annotated[Positive, Field(le=60)] | None = None
    host: Name | None = None
    port: Annotated[int, Field(ge=1, le=65535, strict=True)] | None = None
    topic: Annotated[str, Field(min_length=1)] | None = None
    qos: Literal[0, 1] | None = None
    retain: Annotated[bool, Field(strict=True)] | None = None
    version: Literal["5", "3.1.1"] | None = None
    tls: Annotated[bool, Field(strict=True)] | None = None
    username: Name | None = None
    password_file: Name | None = None
    client_id: Name | None = None

    @model_validator(mode="after")
    def _fits_its_kind(self) -> "NoticeTable":
        for field in _NEEDED[self.kind]:
            if getattr(self, field) is None:
                raise self._refuse(field, rule=f"a notice of kind {self.kind} needs it", mend="Add the field.")
        allowed = {"name", "kind", *_NEEDED[self.kind], *_ALLOWED[self.kind]}
        for field in sorted(self.model_fields_set - allowed):
            raise self._refuse(
                field,
                rule=f"a notice of kind {self.kind} has no such field",
                mend="Remove it, or correct the kind.",
            )
        return self

    @model_validator(mode="after")
    def _can_be_reached(self) -> "NoticeTable":
        if self.path is not None:
            self._check_path(self.path)
        if self.url is not None:
            self._check_url(self.url)
        if self.host is not None and not re.fullmatch(r"[A-Za-z0-9._:-]+", self.host):
            raise self._refuse(
                "host", rule="must be a name or an address alone", mend="Give the port in its own field."
            )
        if self.topic is not None:
            self._check_topic(self.topic)
        if self.password_file is not None and self.username is None:
            raise self._refuse("username", rule="a password needs it", mend="Add it, or remove password_file.")
        if self.kind == "mqtt" and self.ca_file is not None and not self.tls:
            raise self._refuse("ca_file", rule="certificates are for TLS", mend="Add tls = true, or remove ca_file.")
        return self

    def build(self) -> Notice:
        """The notice."""
        if self.kind == "file":
            return FileNotice(name=self.name, path=self.path or "")
        if self.kind == "webhook":
            return WebhookNotice(
                name=self.name,
                url=self.url or "",
                secret_file=self.secret_file,
                ca_file=self.ca_file,
                timeout_s=self.timeout_s or _SECONDS,
            )
        return MqttNotice(
            name=self.name,
            host=self.host or "",
            port=self.port or (_TLS_PORT if self.tls else _PORT),
            topic=self.topic or "",
            qos=1 if self.qos is None else self.qos,
            retain=bool(self.retain),
            version=self.version or "5",
            tls=bool(self.tls),
            ca_file=self.ca_file,
            username=self.username,
            password_file=self.password_file,
            client_id=self.client_id or "",
            timeout_s=self.timeout_s or _SECONDS,
        )

    def _check_path(self, path: str) -> None:
        parts = PurePosixPath(path).parts
        if path.startswith("/") or ".." in parts or "\\" in path or not path.isprintable():
            raise self._refuse(
                "path", rule="must lie in the plant's folder", mend="Write it as cards.jsonl, without .."
            )
        if not path.endswith(".jsonl") or parts[-1] == ".jsonl":
            raise self._refuse(
                "path", rule="must name a file that ends in .jsonl: one card a line", mend="Write it as cards.jsonl."
            )
        if parts[0] in _INPUTS:
            raise self._refuse(
                "path", rule=f"must not lie in {parts[0]}, where evidence is", mend="Write it as notices/cards.jsonl."
            )
        self._check_braces("path", path)

    def _check_url(self, url: str) -> None:
        try:
            parts = urlsplit(url)
            good = bool(parts.hostname) and parts.port != 0
        except ValueError:
            raise self._refuse(
                "url", rule="must be an address", mend="Write it as https://host:port/path, port 1 to 65535."
            ) from None
        if parts.scheme not in {"http", "https"} or not good or re.search(r"\s", url) or not url.isascii():
            raise self._refuse("url", rule="must be an http or https address", mend="Write it as https://host/path.")
        self._check_secrecy(parts)

    def _check_secrecy(self, parts: SplitResult) -> None:
        if parts.username is not None or parts.password is not None or parts.fragment:
            raise ArgumentError(
                where=f"notice {self.name}, url",
                rule="must have no user, password or #",
                mend="Sign the cards instead: put a key in a file and name it as secret_file.",
            )
        if self.ca_file is not None and parts.scheme != "https":
            raise self._refuse("ca_file", rule="certificates are for https", mend="Remove it, or write https in url.")

    def _check_topic(self, topic: str) -> None:
        if "+" in topic or "#" in topic:
            raise self._refuse("topic", rule="must name one topic, without + and #", mend="Write it out.")
        if topic.startswith("$") or not topic.isprintable() or len(topic.encode()) > _LONGEST_TOPIC:
            raise self._refuse(
                "topic",
                rule="must be printable, not begin with $ (the broker's own), and have at most 65535 bytes",
                mend="Write it as coating/line-1/cards.",
            )
        self._check_braces("topic", topic)

    def _check_braces(self, field: str, text: str) -> None:
        if re.search(r"[{}]", text.replace(_ROLL, "")):
            raise self._refuse(field, rule="only {roll} may stand in braces", mend="Correct it.")

    def _refuse(self, field: str, *, rule: str, mend: str) -> ArgumentError:
        value = getattr(self, field)
        hidden = field == "url" and "@" in (value or "")
        return ArgumentError(
            where=f"notice {self.name}, {field}", rule=rule, value=None if hidden else value, mend=mend
        )
