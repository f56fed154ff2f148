"""Acts to canonical bytes and a chain of hashes that shows any change.

Nothing here keeps, reads or sends an event, and nothing asks the clock: who acted and when is handed in. Whether an act
was right isn't judged; only whether what is shown now is what was written then.
"""

from wideroll.record.canonical import canonical_bytes, digest
from wideroll.record.chain import append_event, verify_chain
from wideroll.record.model import GENESIS, ChainReport, Event, Json

__all__ = [
    "GENESIS",
    "ChainReport",
    "Event",
    "Json",
    "append_event",
    "canonical_bytes",
    "digest",
    "verify_chain",
]
