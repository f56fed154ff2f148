"""One script for each form of the database, applied in order; a script that was released is never changed."""

__all__: list[str] = []
