"""A gauge study: who read which part, and what they read."""

import math
from pathlib import Path

from wideroll.control import Readings
from wideroll.errors import InputError
from wideroll.readers.csv_tables import read_table

__all__ = ["read_gauge_study"]


def read_gauge_study(path: Path) -> Readings:
    """Readings by operator and part, each in the order of its lines.

    Raises:
        InputError: naming the line and column; also when operators or parts are too few, or somebody read a part
            less often than others.
    """
    found: dict[str, dict[str, list[float]]] = {}
    for row in read_table(path, needed=("operator", "part", "value")):
        value = row.number("value")
        if math.isnan(value):
            raise row.refuse("value", rule="each reading must be there", mend="Read the part again, or leave it out.")
        found.setdefault(row.text("operator"), {}).setdefault(row.text("part"), []).append(value)
    parts = list(dict.fromkeys(part for read in found.values() for part in read))
    if len(found) < len(("one", "another")) or len(parts) < len(("one", "another")):
        raise InputError(
            where=str(path),
            rule="a gauge study needs two operators and two parts or more",
            value=f"{len(found)} and {len(parts)}",
            mend="Let somebody else read the same parts.",
        )
    often = max(len(values) for read in found.values() for values in read.values())
    for operator, read in found.items():
        for part in parts:
            if len(read.get(part, ())) != often or often == 1:
                raise InputError(
                    where=f"{path}, operator {operator}, part {part}",
                    rule=f"each operator reads each part as often, twice or more; another was read {often} times",
                    value=len(read.get(part, ())),
                    mend="Read it again, or leave the part out.",
                )
    return found
