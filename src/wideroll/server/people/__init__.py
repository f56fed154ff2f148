"""The people of the desk for those who administer it: their roles and tokens, and what was changed or refused."""

__all__: list[str] = []
