"""The rolls: which wait, which are decided and how, and each one's own pages."""

__all__: list[str] = []
