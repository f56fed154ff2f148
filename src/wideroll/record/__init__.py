"""Acts to canonical bytes, a chain of hashes that shows any change, and signatures under it.

Nothing here keeps, reads or sends an event, and nothing asks the clock: who acted and when is handed in. Whether an act
was right isn't judged; only whether what is shown now is what was written then.
"""

from typing import TYPE_CHECKING

from wideroll.on_demand import on_demand

if TYPE_CHECKING:
    from wideroll.record.canonical import canonical_bytes, digest, is_canonical
    from wideroll.record.chain import append_event, broken_rule, verify_chain, written
    from wideroll.record.checkpoints import (
        CHECKPOINT_SCHEMA,
        checkpoint_json,
        checkpoint_of,
        public_key,
        sign,
        sign_checkpoint,
        signature_holds,
        signed_by,
    )
    from wideroll.record.lines import event_line, read_line
    from wideroll.record.model import GENESIS, ChainReport, Checkpoint, Event, Json, RecordReport, Written
    from wideroll.record.proof import CHECKPOINT, prove_record

__all__ = [
    "CHECKPOINT",
    "CHECKPOINT_SCHEMA",
    "GENESIS",
    "ChainReport",
    "Checkpoint",
    "Event",
    "Json",
    "RecordReport",
    "Written",
    "append_event",
    "broken_rule",
    "canonical_bytes",
    "checkpoint_json",
    "checkpoint_of",
    "digest",
    "event_line",
    "is_canonical",
    "prove_record",
    "public_key",
    "read_line",
    "sign",
    "sign_checkpoint",
    "signature_holds",
    "signed_by",
    "verify_chain",
    "written",
]

on_demand(__name__)
