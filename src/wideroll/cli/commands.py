"""Which module each command lies in, so that a command needs no other's."""

from importlib import import_module
from typing import Any, Final

from typer.core import TyperGroup

__all__ = ["COMMANDS", "InOrder", "load_command"]

COMMANDS: Final = {
    "sheets": "sampling",
    "rates": "sampling",
    "agreement": "agreement",
    "card": "cards",
    "cases": "cases",
    "gauge": "causes",
    "pareto": "causes",
    "take-in": "taking_in",
    "decide": "deciding",
    "trace": "tracing",
    "complaints": "complaint_list",
    "control": "controlling",
    "cut": "cutting",
    "demo": "demo",
    "farm": "farming",
    "lots": "finished_lots",
    "history": "history",
    "instruments": "instruments",
    "backup": "keeping",
    "restore": "keeping",
    "next-samples": "next_sampling",
    "notices": "notices",
    "orders": "ordering",
    "people": "people",
    "print": "printing",
    "processors": "processors",
    "properties": "properties",
    "examine": "rooms",
    "repeats": "rooms",
    "scan": "scanning",
    "settle": "settling",
    "strips": "strips",
    "watch": "watching",
    "complaint": "complaint_list",
    "record": "proving",
}
"""In the order in which the help lists them."""


class InOrder(TyperGroup):
    """Lists commands in that order, whichever was loaded first."""

    def list_commands(self, ctx: Any) -> list[str]:
        """Those of the table first."""
        order = {name: number for number, name in enumerate(COMMANDS)}
        return sorted(super().list_commands(ctx), key=lambda name: order.get(name, len(order)))


def load_command(name: str | None) -> None:
    """Load a command's module, or that of each one where there is no command of this name.

    Args:
        name: as it is typed.
    """
    for module in [COMMANDS[name]] if name in COMMANDS else dict.fromkeys(COMMANDS.values()):
        import_module(f"wideroll.cli.{module}")
