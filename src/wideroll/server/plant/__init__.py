"""The plant itself at the desk: line, instruments, processors, record and products."""

__all__: list[str] = []
