"""Whether the photographs of complaints are still those that were kept."""

import json
from collections.abc import Iterable, Iterator
from dataclasses import replace
from pathlib import Path

from wideroll.errors import InputError
from wideroll.record import Written
from wideroll.store.hashes import hash_twice
from wideroll.store.record_inputs import FilesReport

__all__ = ["check_photographs"]


def check_photographs(root: Path, rows: Iterable[Written], report: FilesReport) -> FilesReport:
    """Look at the photographs that complaints name, and add to the report what was found.

    Args:
        root: the plant's folder.
        rows: the complaints of an intact record, in order.
        report: of the files of decisions; what fails first in the record stays the first.

    Returns:
        With the number of photographs, of all or up to the first that fails.
    """
    looked_at = 0
    for number, file, sealed in _named(rows):
        looked_at += 1
        path = root / file
        try:
            same = hash_twice(path).sha256 == sealed
        except InputError:
            same = False
        if not same:
            what = "isn't the photograph that was kept" if path.exists() else "isn't there"
            if report.first_bad is None or number < report.first_bad:
                return replace(report, photographs=looked_at, first_bad=number, why=f"file: {file} {what}")
            break
    return replace(report, photographs=looked_at)


def _named(rows: Iterable[Written]) -> Iterator[tuple[int, str, str]]:
    """Each photograph once, with the first event that names it."""
    seen: set[str] = set()
    for row in rows:
        files = json.loads(row[5]).get("files", {})
        for file, sealed in sorted(files.items()):
            if file not in seen:
                seen.add(file)
                yield row[0], file, str(sealed)
