"""Complaints as cases: which are open, how each stands, and what is done with it next."""

__all__: list[str] = []
