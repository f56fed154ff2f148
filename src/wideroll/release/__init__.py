"""Evidence and criteria to a verdict for every part of the roll, with reasons."""
