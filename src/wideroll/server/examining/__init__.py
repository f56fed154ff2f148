"""The examiner's pages: what is to be looked at, entry one question at a time, photographs, sending, what was noted."""

__all__: list[str] = []
