"""Finished lots of the invented product: two bad ones make inspection tightened, five good ones normal again."""

from typing import Final

__all__ = ["LOTS_CSV"]

_SIZE: Final = 800
_AQL: Final = "2.5"
_FOUND: Final = (
    ("F-0901", 2),
    ("F-0902", 1),
    ("F-0903", 6),
    ("F-0904", 3),
    ("F-0905", 7),
    ("F-1001", 3),
    ("F-1002", 2),
    ("F-1003", 1),
    ("F-1004", 3),
    ("F-1005", 0),
    ("F-1101", 4),
    ("F-1102", 2),
)
"""Each lot, and how many nonconforming rolls were in its sample."""

LOTS_CSV: Final = "lot,size,aql,found\n" + "".join(f"{lot},{_SIZE},{_AQL},{found}\n" for lot, found in _FOUND)
"""lots/<product>.csv."""
