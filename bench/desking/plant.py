"""An invented plant with one roll of 50,000 marks, decided as any other, and people to look at it."""

from pathlib import Path

import numpy as np
import tifffile

from wideroll.acts.deciding import decide_roll
from wideroll.acts.rolls import take_in_hand
from wideroll.acts.showing import show_roll
from wideroll.people import Cost, DeskDatabase, Hand, Lengths, add_person, open_session

__all__ = ["MARKS", "ROLL", "make_plant", "open_sessions"]

ROLL = "B-1"
MARKS = 50_000
_PITCH_MM = 0.3
_LINES, _COLUMNS = 12_000, 4_600
_WANTED = 52_000
_SIZE = 3
_ROLES = ("engineer", "examiner", "technician", "control room", "reader")
_CHEAP = Cost(rounds=1, memory_kib=8, threads=1)
_PASSWORD = "grey web under lamp"  # noqa: S105  -- of an invented administrator
_PLANT = """\
name = "Little Mere, line 1"
web_width = "1380 mm"
datum_edge = "drive side"
[[scanners]]
name = "line-end scanner"
wavelength_nm = 850
"""
_PRODUCT = """\
film_type = "black-and-white"
sensitisation_nm = [[380, 690]]
[aims]
tolerance_density = 0.1
log_h = [-2.0, -1.5, -1.0, -0.5, 0.0]
visual = [0.2, 0.5, 1.0, 1.5, 2.0]
[reference]
limit_density = 0.05
[reference.aims]
tolerance_density = 0.05
log_h = [-2.0, -1.5, -1.0, -0.5, 0.0]
visual = [0.2, 0.5, 1.0, 1.5, 2.0]
[[criteria]]
name = "Marks"
measurand = "rate of marks"
limit = 20000
unit = "per m²"
consequence = "reject"
[[widths]]
name = "35 mm"
width = "34.975 mm"
tolerance = "0.025 mm"
value_per_m = 2
"""
_CARD = """\
product = "sheet-100"
length = "{metres:g} m"
[[batches]]
name = "E-1"
along_from = "0 m"
along_to = "{metres:g} m"
"""
_SCAN = """\
scanner = "line-end scanner"
pitch_along = "0.3 mm"
pitch_across = "0.3 mm"
segments = ["a.tif"]
"""


def make_plant(root: Path) -> int:
    """Write the plant, decide its roll and draw its pages.

    Returns:
        How many marks the roll has.
    """
    roll = root / "rolls" / ROLL
    for folder in (root / "products", roll / "scan"):
        folder.mkdir(parents=True)
    metres = _LINES * _PITCH_MM / 1000.0
    (root / "plant.toml").write_text(_PLANT, encoding="utf-8")
    (root / "products" / "sheet-100.toml").write_text(_PRODUCT, encoding="utf-8")
    (roll / "roll.toml").write_text(_CARD.format(metres=metres), encoding="utf-8")
    (roll / "scan" / "scan.toml").write_text(_SCAN, encoding="utf-8")
    tifffile.imwrite(roll / "scan" / "a.tif", _web(), photometric="minisblack")
    hand = take_in_hand(root, ROLL)
    done = decide_roll(hand, who="bench", why="")
    show_roll(hand, done.assessment)
    return sum(1 for _ in done.assessment.scan.marks["id"]) if done.assessment.scan else 0


def open_sessions(root: Path, many: int, now_s: int) -> list[str]:
    """Add so many people of all roles but the administrator's, and log each in; returns the sessions' secrets."""
    database, hand = DeskDatabase(root / "desk.db"), Hand(who="bench", address="command", now_s=now_s)
    admin = {"name": "admin", "shown": "Admin", "roles": ["administrator"], "password": _PASSWORD}
    add_person(database, hand, **admin, cost=_CHEAP)
    secrets = []
    for number in range(many):
        role, name = _ROLES[number % len(_ROLES)], f"person-{number}"
        add_person(database, hand, name=name, shown=f"Person {number}", roles=[role], password=None, cost=_CHEAP)
        secrets.append(open_session(database, name, how="provider", lengths=Lengths(), now_s=now_s))
    database.close()
    return secrets


def _web() -> np.ndarray:
    """Noise about a level, with dark spots that lie apart."""
    random = np.random.Generator(np.random.PCG64(9))
    web = np.rint(random.normal(150.0, 3.0, (_LINES, _COLUMNS))).astype(np.uint8)
    rows = round((_WANTED * _LINES / _COLUMNS) ** 0.5)
    columns = _WANTED // rows
    tall, wide = _LINES / rows, _COLUMNS / columns
    lines = np.repeat(np.arange(rows), columns) * tall + random.uniform(5.0, tall - 5.0, rows * columns)
    places = np.tile(np.arange(columns), rows) * wide + random.uniform(5.0, wide - 5.0, rows * columns)
    for down in range(_SIZE):
        for over in range(_SIZE):
            web[lines.astype(int) + down, places.astype(int) + over] = 90
    return web
