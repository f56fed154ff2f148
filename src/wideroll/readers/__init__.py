"""Files to types; every error names file, field or line, the rule, the value and the mend.

Nothing here computes or judges, and nothing here writes.
"""

from typing import TYPE_CHECKING

from wideroll.on_demand import on_demand

if TYPE_CHECKING:
    from wideroll.readers.bare_strips import BareFile, read_bare_file, read_bare_strips
    from wideroll.readers.plant_folder import PlantFolder
    from wideroll.readers.raster import open_raster
    from wideroll.readers.raster_file import RasterFile
    from wideroll.readers.raster_segments import Damage, SegmentedRaster, open_segments
    from wideroll.readers.read_ahead import read_ahead
    from wideroll.readers.record_address import record_note
    from wideroll.readers.spectra_files import read_spectra
    from wideroll.readers.strip_files import read_strips

__all__ = [
    "BareFile",
    "Damage",
    "PlantFolder",
    "RasterFile",
    "SegmentedRaster",
    "open_raster",
    "open_segments",
    "read_ahead",
    "read_bare_file",
    "read_bare_strips",
    "read_spectra",
    "read_strips",
    "record_note",
]

on_demand(__name__)
