"""Action cards: what the control room is to do while the machine runs, who sees to it, and what came of it."""

__all__: list[str] = []
