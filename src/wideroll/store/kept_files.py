"""Whether photographs of complaints and base periods are still those that were kept."""

import json
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Final

from wideroll.errors import InputError
from wideroll.record import Written
from wideroll.store.acts import BASE_PERIOD, COMPLAINT
from wideroll.store.hashes import hash_twice
from wideroll.store.record_inputs import FilesReport

__all__ = ["KEPT", "check_kept_files"]

_WHAT: Final = {COMPLAINT: "photograph", BASE_PERIOD: "base period"}
KEPT: Final = tuple(_WHAT)
"""Acts whose files are kept for good."""


def check_kept_files(root: Path, rows: Iterable[Written], report: FilesReport) -> FilesReport:
    """Look at the files that complaints and base periods name, and add to the report what was found.

    Args:
        root: the plant's folder.
        rows: the events of these acts (``KEPT``) of an intact record, in order.
        report: of the files of decisions; what fails first in the record stays the first.

    Returns:
        With the numbers of photographs and base periods, of all or up to the first that fails.
    """
    seen: Counter[str] = Counter()
    found = report
    for number, act, file, sealed in _named(rows):
        seen[act] += 1
        path = root / file
        try:
            same = hash_twice(path).sha256 == sealed
        except InputError:
            same = False
        if not same:
            what = f"isn't the {_WHAT[act]} that was kept" if path.exists() else "isn't there"
            if report.first_bad is None or number < report.first_bad:
                found = replace(report, first_bad=number, why=f"file: {file} {what}")
            break
    return replace(found, photographs=seen[COMPLAINT], base_periods=seen[BASE_PERIOD])


def _named(rows: Iterable[Written]) -> Iterator[tuple[int, str, str, str]]:
    """Each file once, with the first event that names it."""
    seen: set[str] = set()
    for row in rows:
        for file, sealed in sorted(json.loads(row.body).get("files", {}).items()):
            if file not in seen:
                seen.add(file)
                yield row.number, row.act, file, str(sealed)
