"""The cut of a roll: the one that stands, and what wishes would cost; nothing here changes a cut."""

__all__: list[str] = []
