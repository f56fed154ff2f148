"""Many rolls, batches or runs to control charts."""
