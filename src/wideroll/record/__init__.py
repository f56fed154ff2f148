"""Acts to canonical bytes and a chain of hashes that shows any change."""
