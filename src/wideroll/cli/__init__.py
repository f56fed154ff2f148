"""The same acts from a terminal."""
