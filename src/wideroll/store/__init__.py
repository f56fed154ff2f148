"""Results and the record on disk, written whole or not at all."""
