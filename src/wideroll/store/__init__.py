"""What is kept on disk: results that know what they were computed from, and the record.

No measuring, judging or drawing here, and no reading of what people or machines wrote: that is for readers. A file is
replaced whole or not at all.
"""

from wideroll.store.cards import load_cards, load_delivered, save_card, save_delivered
from wideroll.store.chips import read_chips, write_chips
from wideroll.store.demo_plant import demo_rolls, write_demo_plant
from wideroll.store.files import json_bytes, read_bytes, read_json, write_json, write_whole
from wideroll.store.folders import sealed_bytes
from wideroll.store.hashes import InputHashes, fingerprint, hash_file, remembered_hashes
from wideroll.store.marks_csv import write_marks_csv
from wideroll.store.pyramid import PyramidWriter
from wideroll.store.pyramid_reading import Pyramid, Stretch, open_pyramid
from wideroll.store.record_db import RecordStore
from wideroll.store.results import Damage, ResultsFolder
from wideroll.store.watch_lock import one_watch

__all__ = [
    "Damage",
    "InputHashes",
    "Pyramid",
    "PyramidWriter",
    "RecordStore",
    "ResultsFolder",
    "Stretch",
    "demo_rolls",
    "fingerprint",
    "hash_file",
    "json_bytes",
    "load_cards",
    "load_delivered",
    "one_watch",
    "open_pyramid",
    "read_bytes",
    "read_chips",
    "read_json",
    "remembered_hashes",
    "save_card",
    "save_delivered",
    "sealed_bytes",
    "write_chips",
    "write_demo_plant",
    "write_json",
    "write_marks_csv",
    "write_whole",
]
