"""What people do with a plant, whatever they touch it by: take a roll in hand, decide, cut, trace, complain, prove.

An act reads, calls a use case, writes and records. It knows no terminal, no browser and no form: what it has to say
meanwhile goes to whoever listens (``telling``), and what it found is handed back to be shown. Each module is imported
by its own name, so that nobody waits for what isn't used.
"""

__all__: list[str] = []
