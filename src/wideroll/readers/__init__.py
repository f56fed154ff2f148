"""Files to types; every error names file, field or line, the rule, the value and the mend.

Nothing here computes or judges, and nothing here writes.
"""

from wideroll.readers.plant_folder import PlantFolder
from wideroll.readers.raster import RasterFile, SegmentedRaster, open_raster, open_segments
from wideroll.readers.strip_files import read_bare_strips, read_strips

__all__ = [
    "PlantFolder",
    "RasterFile",
    "SegmentedRaster",
    "open_raster",
    "open_segments",
    "read_bare_strips",
    "read_strips",
]
