"""The sinks of a plant's notices."""

from collections.abc import Iterable
from pathlib import Path
from typing import Final

from wideroll.errors import InputError
from wideroll.notices.file import FileSink
from wideroll.notices.secret_files import read_secret, trusted
from wideroll.workflow.action_card import CardSink
from wideroll.workflow.notice_model import FileNotice, MqttNotice, Notice, WebhookNotice, notice_place

__all__ = ["open_sinks"]

_ROLL: Final = "{roll}"


def open_sinks(notices: Iterable[Notice], root: Path, roll: str) -> tuple[CardSink, ...]:
    """What delivers the cards of a roll, one sink a notice, in their order. Nothing is connected to or written yet.

    Args:
        notices: of the plant.
        root: the plant's folder.
        roll: name of the roll, for ``{roll}`` in paths and topics.

    Raises:
        InputError: when a file with a secret or with certificates can't be read, or an extra isn't installed.

    Example:
        >>> from tempfile import TemporaryDirectory
        >>> from wideroll.workflow.card_json import trial_card
        >>> with TemporaryDirectory() as folder:
        ...     notice = FileNotice(name="terminal", path="cards-{roll}.jsonl")
        ...     (sink,) = open_sinks([notice], Path(folder), "W-1")
        ...     sink.send(trial_card("Little Mere, line 1", "W-1"))
        ...     len(Path(folder, "cards-W-1.jsonl").read_text().splitlines())
        1
    """
    return tuple(_sink(notice, root, roll) for notice in notices)


def _sink(notice: Notice, root: Path, roll: str) -> CardSink:
    where = f"notice {notice.name} ({notice_place(notice)})"
    if isinstance(notice, FileNotice):
        return FileSink(where=where, path=root / notice.path.replace(_ROLL, roll))
    try:
        return _webhook(notice, root, where) if isinstance(notice, WebhookNotice) else _mqtt(notice, root, roll, where)
    except ImportError as error:
        raise InputError(
            where=where,
            rule=f"needs {error.name}, which isn't installed",
            mend="Install it with: pip install 'wideroll[watch]'.",
        ) from error


def _webhook(notice: WebhookNotice, root: Path, where: str) -> CardSink:
    from wideroll.notices.webhook import WebhookSink  # noqa: PLC0415  -- the extra may not be installed

    secret = notice.secret_file
    return WebhookSink(
        where=where,
        url=notice.url,
        secret=None if secret is None else read_secret(root, secret, where=where),
        tls=trusted(root, notice.ca_file, where=where),
        timeout_s=notice.timeout_s,
    )


def _mqtt(notice: MqttNotice, root: Path, roll: str, where: str) -> CardSink:
    from wideroll.notices.mqtt import MqttSink  # noqa: PLC0415  -- the extra may not be installed

    password = notice.password_file
    return MqttSink(
        where=where,
        host=notice.host,
        port=notice.port,
        topic=notice.topic.replace(_ROLL, roll),
        qos=notice.qos,
        retain=notice.retain,
        version=notice.version,
        tls=trusted(root, notice.ca_file, where=where) if notice.tls else None,
        username=notice.username,
        password=None
        if password is None
        else read_secret(root, password, where=where).decode(errors="surrogateescape"),
        client_id=notice.client_id,
        timeout_s=notice.timeout_s,
    )
