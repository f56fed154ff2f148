"""The lots of finished rolls of a product, in the order of inspection: their history is the state of inspection."""

import re
from pathlib import Path
from typing import Final

from wideroll.readers.csv_tables import Row, read_table
from wideroll.sampling import Lot

__all__ = ["read_lots"]

_PLAIN_NAME: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,119}")
_NEEDED: Final = ("lot", "size", "aql", "found")
_EXTRAS: Final = ("level", "resubmitted", "resumed")
_USUAL: Final = "II"


def read_lots(plant: Path, product: str) -> tuple[Lot, ...]:
    """``lots/<product>.csv``; none where there is no such file.

    Raises:
        InputError: naming the line and column.
    """
    path = plant / "lots" / f"{product}.csv"
    if not _PLAIN_NAME.fullmatch(product) or not path.is_file():
        return ()
    names: set[str] = set()
    return tuple(_lot(row, names) for row in read_table(path, needed=_NEEDED, allowed=_EXTRAS, may_be_empty=True))


def _lot(row: Row, names: set[str]) -> Lot:
    name = row.text("lot")
    resubmitted = bool(row.answer("resubmitted"))
    if name in names and not resubmitted:
        raise row.refuse("lot", rule="a lot stands once, unless it is resubmitted", mend="Say so, or correct its name.")
    names.add(name)
    return Lot(
        name=name,
        size=row.whole("size"),
        aql=row.number("aql"),
        found=row.whole("found"),
        level=row.cells.get("level", "") or _USUAL,
        resubmitted=resubmitted,
        resumed=bool(row.answer("resumed")),
    )
