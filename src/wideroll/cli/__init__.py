"""The same acts from a terminal: arguments in, tables or JSON out, the outcome as exit code.

No rule of the trade lives here; a command reads, calls a use case, writes and shows.
"""

# The help lists commands in the order in which they are imported.
from wideroll.cli.app import app, main
from wideroll.cli.sampling import rates, sheets

# isort: split
from wideroll.cli.agreement import agreement
from wideroll.cli.cards import card
from wideroll.cli.cases import cases
from wideroll.cli.causes import gauge, pareto_command
from wideroll.cli.taking_in import take_in

# isort: split
from wideroll.cli.deciding import decide
from wideroll.cli.tracing import trace

# isort: split
from wideroll.cli.complaining import add, ask, close, find, look, open_case, reopen
from wideroll.cli.complaint_list import complaints, show
from wideroll.cli.controlling import control
from wideroll.cli.cutting import cut
from wideroll.cli.demo import demo
from wideroll.cli.farming import farm
from wideroll.cli.finished_lots import lots
from wideroll.cli.history import history
from wideroll.cli.instruments import instruments
from wideroll.cli.keeping import backup, restore
from wideroll.cli.next_sampling import next_samples_command
from wideroll.cli.notices import notices
from wideroll.cli.ordering import orders
from wideroll.cli.people import people
from wideroll.cli.printing import print_sheet
from wideroll.cli.processors import processors
from wideroll.cli.properties import properties
from wideroll.cli.proving import export, key, sign, verify
from wideroll.cli.rooms import examine, repeats
from wideroll.cli.scanning import scan
from wideroll.cli.settling import settle_rate
from wideroll.cli.strips import strips
from wideroll.cli.watching import watch

__all__ = [
    "add",
    "agreement",
    "app",
    "ask",
    "backup",
    "card",
    "cases",
    "close",
    "complaints",
    "control",
    "cut",
    "decide",
    "demo",
    "examine",
    "export",
    "farm",
    "find",
    "gauge",
    "history",
    "instruments",
    "key",
    "look",
    "lots",
    "main",
    "next_samples_command",
    "notices",
    "open_case",
    "orders",
    "pareto_command",
    "people",
    "print_sheet",
    "processors",
    "properties",
    "rates",
    "reopen",
    "repeats",
    "restore",
    "scan",
    "settle_rate",
    "sheets",
    "show",
    "sign",
    "strips",
    "take_in",
    "trace",
    "verify",
    "watch",
]
