"""The record: who did what and when, and whether it holds."""

__all__: list[str] = []
