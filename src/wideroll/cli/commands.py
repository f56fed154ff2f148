"""Which module each command lies in, so that a command needs no other's."""

from collections.abc import Iterator, Mapping, Sequence
from importlib import import_module
from typing import Any, Final

from typer.core import TyperGroup

__all__ = ["COMMANDS", "SECTIONS", "InFull", "InOrder", "load_command"]

SECTIONS: Final[Mapping[str, Mapping[str, str]]] = {
    "The job": {
        "demo": "demo",
        "take-in": "taking_in",
        "decide": "deciding",
        "cut": "cutting",
        "orders": "ordering",
        "print": "printing",
    },
    "Evidence of a roll": {
        "scan": "scanning",
        "farm": "farming",
        "strips": "strips",
        "properties": "properties",
        "examine": "rooms",
        "agreement": "agreement",
        "repeats": "rooms",
    },
    "What to sample, and when to stop": {
        "sheets": "sampling",
        "rates": "sampling",
        "settle": "settling",
        "next-samples": "next_sampling",
        "lots": "finished_lots",
    },
    "While the machine runs": {
        "watch": "watching",
        "card": "cards",
        "cases": "cases",
        "notices": "notices",
    },
    "Across rolls": {
        "control": "controlling",
        "pareto": "causes",
        "gauge": "causes",
        "instruments": "instruments",
        "processors": "processors",
    },
    "Years later": {
        "trace": "tracing",
        "complaints": "complaint_list",
        "complaint": "complaint_list",
        "history": "history",
        "record": "proving",
        "backup": "keeping",
        "restore": "keeping",
    },
    "The desk": {
        "people": "people",
    },
}
"""Commands and their modules as the help lists them; what lies in no module here comes last."""
COMMANDS: Final = {name: module for section in SECTIONS.values() for name, module in section.items()}

_WHOLE: Final = 300
"""Letters: a command's first sentence is told to its end."""


class InFull(TyperGroup):
    """Lists commands with their first sentence to its end."""

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        """One list under each heading, all as wide as the widest."""
        names = self.list_commands(ctx)
        widest = max(map(len, names))
        for heading, listed in self.under_headings(names):
            told = ((name, self.get_command(ctx, name)) for name in listed)
            rows = [(name.ljust(widest), command.get_short_help_str(_WHOLE)) for name, command in told if command]
            if rows:
                with formatter.section(heading):
                    formatter.write_dl(rows)

    def under_headings(self, names: Sequence[str]) -> Iterator[tuple[str, Sequence[str]]]:
        """All under one."""
        yield "Commands", names


class InOrder(InFull):
    """Lists them in the order of the table and under its headings, whichever was loaded first."""

    def list_commands(self, ctx: Any) -> list[str]:
        """Those of the table first."""
        order = {name: number for number, name in enumerate(COMMANDS)}
        return sorted(super().list_commands(ctx), key=lambda name: order.get(name, len(order)))

    def under_headings(self, names: Sequence[str]) -> Iterator[tuple[str, Sequence[str]]]:
        """What isn't in the table comes last."""
        *_, last = SECTIONS
        for heading, section in SECTIONS.items():
            yield heading, [name for name in names if name in section or (heading == last and name not in COMMANDS)]


def load_command(name: str | None) -> None:
    """Load a command's module, or that of each one where there is no command of this name.

    Args:
        name: as it is typed.
    """
    for module in [COMMANDS[name]] if name in COMMANDS else dict.fromkeys(COMMANDS.values()):
        import_module(f"wideroll.cli.{module}")
