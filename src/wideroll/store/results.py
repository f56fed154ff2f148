"""A roll's results on disk, handed back only while what they were computed from is the same."""

import json
import re
from dataclasses import dataclass, field
from hashlib import blake2b
from pathlib import Path
from typing import Any, Final, TypeVar

from wideroll.errors import ArgumentError, InputError
from wideroll.repeats import SeriesSearch
from wideroll.scan import ScanResult
from wideroll.scan.detection import DetectionResult
from wideroll.store.chips import pack_chips, read_chips
from wideroll.store.files import json_bytes, read_json, write_whole
from wideroll.store.folders import drop_folder, sealed_bytes, write_folder
from wideroll.store.plain import from_plain, to_plain
from wideroll.store.pyramid import PyramidWriter
from wideroll.store.pyramid_reading import open_pyramid
from wideroll.store.scan_files import (
    CHIPS,
    MATCHES,
    OVERVIEW,
    SCAN_FILES,
    SCAN_VERSION,
    ScanCard,
    pack_scan,
    scan_card,
    unpack_scan,
)

__all__ = ["Damage", "ResultsFolder"]

Result = TypeVar("Result")

_NAME: Final = re.compile(r"(?:[a-z0-9][a-z0-9_-]*/)?[a-z0-9][a-z0-9_-]*")

_NOT_ALWAYS: Final = (CHIPS, MATCHES, OVERVIEW)


@dataclass(frozen=True, slots=True, kw_only=True)
class Damage:
    """A result file that isn't what its writer left, and why it was taken as stale."""

    file: str
    why: str


@dataclass(frozen=True, slots=True)
class ResultsFolder:
    """The results of one roll, ``results/<roll>``.

    Each file carries the fingerprint of what it was computed from and a hash of its content. Loading gives None where
    a result is absent, was computed from something else, or is damaged; the last is noted in ``damage``.

    Example:
        >>> from tempfile import TemporaryDirectory
        >>> from wideroll.slitting import CutRules
        >>> with TemporaryDirectory() as folder:
        ...     results = ResultsFolder(Path(folder))
        ...     results.save("rules", CutRules(setup_m=3.0), "inputs-1")
        ...     same, stale = results.load("rules", CutRules, "inputs-1"), results.load("rules", CutRules, "inputs-2")
        >>> same.setup_m, stale
        (3.0, None)
    """

    path: Path
    damage: list[Damage] = field(default_factory=list, compare=False)

    def save(self, name: str, result: object, fingerprint: str) -> None:
        """Write ``<name>.json`` in one step; the same result and fingerprint give the same bytes.

        Args:
            name: of the file, without ending; a folder may stand before it, as in ``state/decision``.
            result: a frozen dataclass of numbers, text, enums, tuples, mappings and other such dataclasses.
            fingerprint: of everything it was computed from.

        Raises:
            ArgumentError: when the result isn't made of these.
            InputError: when the disk refuses.
        """
        value = to_plain(result)
        head = {"result": type(result).__name__, "fingerprint": fingerprint, "content": _hash_value(value)}
        write_whole(self._file(name), json_bytes({**head, "value": value}, sort_keys=False))

    def load(self, name: str, kind: type[Result], fingerprint: str) -> Result | None:
        """Read ``<name>.json`` back, or None when there is no sound one for this fingerprint."""
        path = self._file(name)
        if not path.exists():
            return None
        try:
            return _open(read_json(path), kind, fingerprint)
        except InputError as error:
            self.damage.append(Damage(file=f"{name}.json", why=error.rule))
            return None

    def overview(self, fingerprint: str) -> PyramidWriter:
        """Where the rows of a scan's overview go while it runs; ``save_scan`` of the same fingerprint keeps it.

        Raises:
            InputError: when the disk refuses.
        """
        return PyramidWriter(self.path / OVERVIEW, fingerprint=fingerprint)

    def save_scan(self, scan: ScanResult, fingerprint: str) -> None:
        """Write the scan's files and folders, and last state/scan.json, which names the others by their hash.

        An overview that was made from something else is taken away, and so are chips of an earlier scan.

        Raises:
            ArgumentError: when a chip's mark can't name a file.
            InputError: when the marks aren't a marks table, or the disk refuses.
        """
        files = pack_scan(scan)
        chips = pack_chips(scan.chips, scan.marks, scan.pitch_mm) if scan.chips else {}
        for name, data in files.items():
            write_whole(self.path / name, data)
        if MATCHES not in files:
            (self.path / MATCHES).unlink(missing_ok=True)
        if chips:
            write_folder(self.path / CHIPS, chips)
        else:
            drop_folder(self.path / CHIPS)
        self._drop_other_overview(fingerprint)
        beside = [name for name in (*SCAN_FILES, *_NOT_ALWAYS) if (self.path / name).exists()]
        hashes = {name: _hash(sealed_bytes(self.path / name)) for name in beside}
        self.save("state/scan", scan_card(scan, hashes), fingerprint)

    def load_scan(self, fingerprint: str) -> ScanResult | None:
        """Read the scan back, or None unless all its files are there, whole and of this fingerprint."""
        card = self.load("state/scan", ScanCard, fingerprint)
        if card is None or card.version != SCAN_VERSION:
            return None
        files: dict[str, bytes] = {}
        for name in (*SCAN_FILES, *(name for name in _NOT_ALWAYS if name in card.files)):
            try:
                files[name] = sealed_bytes(self.path / name)
                if _hash(files[name]) != card.files.get(name):
                    raise _damaged(rule="it must be the file that scan.json names")
            except InputError as error:
                self.damage.append(Damage(file=name, why=error.rule))
                return None
        try:
            return unpack_scan(card, files, read_chips(self.path / CHIPS) if CHIPS in files else ())
        except InputError as error:
            self.damage.append(Damage(file="state/scan.json", why=error.rule))
            return None

    def save_detection(self, detection: DetectionResult, fingerprint: str) -> None:
        """Write state/detection.json: how likely the scan of this fingerprint finds a mark.

        Raises:
            InputError: when the disk refuses.
        """
        self.save("state/detection", detection, fingerprint)

    def load_detection(self, fingerprint: str) -> DetectionResult | None:
        """Read it back, or None when it was never measured or there is no sound one for this fingerprint."""
        return self.load("state/detection", DetectionResult, fingerprint)

    def save_series(self, search: SeriesSearch, fingerprint: str) -> None:
        """Write state/series.json.

        Raises:
            InputError: when the disk refuses.
        """
        self.save("state/series", search, fingerprint)

    def load_series(self, fingerprint: str) -> SeriesSearch | None:
        """Read the series search back, or None when there is no sound one for this fingerprint."""
        return self.load("state/series", SeriesSearch, fingerprint)

    def _drop_other_overview(self, fingerprint: str) -> None:
        try:
            mine = open_pyramid(self.path / OVERVIEW).fingerprint == fingerprint
        except InputError:
            mine = False
        if not mine:
            drop_folder(self.path / OVERVIEW)

    def _file(self, name: str) -> Path:
        if not _NAME.fullmatch(name):
            raise ArgumentError(
                where="name of a result",
                rule="must be small letters, digits, - and _, in at most one folder",
                value=name,
                mend="Give a name such as decision.",
            )
        return self.path / f"{name}.json"


def _open(read: Any, kind: type[Result], fingerprint: str) -> Result | None:
    if not isinstance(read, dict) or not {"result", "fingerprint", "content", "value"} <= read.keys():
        raise _damaged(rule="it must be a result file")
    if (read["result"], read["fingerprint"]) != (kind.__name__, fingerprint):
        return None
    if _hash_value(read["value"]) != read["content"]:
        raise _damaged(rule="its content must be what was written")
    return from_plain(read["value"], kind)


def _damaged(*, rule: str) -> InputError:
    return InputError(where="result file", rule=rule, mend="Run the command that writes it again.")


def _hash_value(value: Any) -> str:
    return _hash(json.dumps(value).encode())


def _hash(data: bytes) -> str:
    return blake2b(data, digest_size=32).hexdigest()
