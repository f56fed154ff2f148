"""The same work over many rolls at once.

The only place that knows Dask. Nothing is measured, judged or written here: the work is handed in, and its results are
handed back in the order of the rolls.
"""

from wideroll.farm.many import scan_many

__all__ = ["scan_many"]
