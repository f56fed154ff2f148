"""What is kept on disk: results that know what they were computed from, and the record.

No measuring, judging or drawing here, and no reading of what people or machines wrote: that is for readers. A file is
replaced whole or not at all.
"""

from typing import TYPE_CHECKING

from wideroll.on_demand import on_demand

if TYPE_CHECKING:
    from wideroll.store.acts import (
        CALIBRATION,
        CARD,
        CARD_CLOSED,
        CARD_GIVEN_BACK,
        CARD_TAKEN,
        COMPLAINT,
        CUT,
        DECISION,
        EVIDENCE,
        READING,
        RECALL,
        SIGHTING,
        TAKE_IN,
    )
    from wideroll.store.backup import write_backup
    from wideroll.store.backup_names import Manifest
    from wideroll.store.backup_reading import read_backup, restore_backup
    from wideroll.store.card_acts import (
        RecordedCard,
        closed_cards,
        closing_acts,
        giving_back_acts,
        raising_acts,
        recorded_cards,
        taking_acts,
    )
    from wideroll.store.cards import card_file, load_cards, load_delivered, save_card, save_delivered
    from wideroll.store.chips import read_chips, write_chips
    from wideroll.store.complaints import COMPLAINTS, NewPhotograph, add_complaint_step, kept_complaints
    from wideroll.store.demo_plant import demo_rolls, write_demo_plant
    from wideroll.store.evidence import (
        Lookup,
        NamedFile,
        act_of,
        evidence_bodies,
        evidence_files,
        evidence_named,
        folded,
        named_files,
    )
    from wideroll.store.files import json_bytes, read_bytes, read_json, write_json, write_whole
    from wideroll.store.finished_files import load_finished, save_finished, slit_rolls, windings_of
    from wideroll.store.folders import FOLDERS, list_folders, sealed_bytes
    from wideroll.store.hashes import FileHashes, InputHashes, fingerprint, hash_file, hash_twice, remembered_hashes
    from wideroll.store.kept_files import KEPT, check_kept_files
    from wideroll.store.marks_csv import write_marks_csv
    from wideroll.store.plain import from_plain
    from wideroll.store.pyramid import PyramidWriter
    from wideroll.store.pyramid_reading import Pyramid, Stretch, open_pyramid
    from wideroll.store.record_bundle import Bundle, is_bundle, open_bundle, write_bundle
    from wideroll.store.record_checkpoints import CHECKPOINTS, kept_checkpoints, read_checkpoint, save_checkpoint
    from wideroll.store.record_db import OvertakenError, RecordStore, Standing, prove_read
    from wideroll.store.record_inputs import FilesReport, NotTakenIn, check_files
    from wideroll.store.record_keys import make_key, public_path, read_public_key, read_secret_key
    from wideroll.store.record_rows import Picked, event_of
    from wideroll.store.results import Damage, ResultsFolder
    from wideroll.store.watch_lock import nobody_seals, one_at_a_time, one_product_at_a_time, one_watch

__all__ = [
    "CALIBRATION",
    "CARD",
    "CARD_CLOSED",
    "CARD_GIVEN_BACK",
    "CARD_TAKEN",
    "CHECKPOINTS",
    "COMPLAINT",
    "COMPLAINTS",
    "CUT",
    "DECISION",
    "EVIDENCE",
    "FOLDERS",
    "KEPT",
    "READING",
    "RECALL",
    "SIGHTING",
    "TAKE_IN",
    "Bundle",
    "Damage",
    "FileHashes",
    "FilesReport",
    "InputHashes",
    "Lookup",
    "Manifest",
    "NamedFile",
    "NewPhotograph",
    "NotTakenIn",
    "OvertakenError",
    "Picked",
    "Pyramid",
    "PyramidWriter",
    "RecordStore",
    "RecordedCard",
    "ResultsFolder",
    "Standing",
    "Stretch",
    "act_of",
    "add_complaint_step",
    "card_file",
    "check_files",
    "check_kept_files",
    "closed_cards",
    "closing_acts",
    "demo_rolls",
    "event_of",
    "evidence_bodies",
    "evidence_files",
    "evidence_named",
    "fingerprint",
    "folded",
    "from_plain",
    "giving_back_acts",
    "hash_file",
    "hash_twice",
    "is_bundle",
    "json_bytes",
    "kept_checkpoints",
    "kept_complaints",
    "list_folders",
    "load_cards",
    "load_delivered",
    "load_finished",
    "make_key",
    "named_files",
    "nobody_seals",
    "one_at_a_time",
    "one_product_at_a_time",
    "one_watch",
    "open_bundle",
    "open_pyramid",
    "prove_read",
    "public_path",
    "raising_acts",
    "read_backup",
    "read_bytes",
    "read_checkpoint",
    "read_chips",
    "read_json",
    "read_public_key",
    "read_secret_key",
    "recorded_cards",
    "remembered_hashes",
    "restore_backup",
    "save_card",
    "save_checkpoint",
    "save_delivered",
    "save_finished",
    "sealed_bytes",
    "slit_rolls",
    "taking_acts",
    "windings_of",
    "write_backup",
    "write_bundle",
    "write_chips",
    "write_demo_plant",
    "write_json",
    "write_marks_csv",
    "write_whole",
]

on_demand(__name__)
