"""Results to figures and sheets."""
