"""One roll in shares, or the same work over many rolls at once.

The only place that knows Dask. Nothing is measured, judged or written here: rooms do the work, on one worker or many
with the same result, and what comes of it is handed back in order.
"""

from wideroll.farm.many import scan_many
from wideroll.farm.shares import scan_in_shares

__all__ = ["scan_in_shares", "scan_many"]
