"""The invented plant that ``wideroll demo`` writes: its line, its product and what happened to its three rolls.

Everything here is made up. Places along are fractions of a roll's length, so that the scene also fits shorter rolls.
"""

from dataclasses import dataclass
from typing import Final

__all__ = [
    "CLEANINGS_CSV",
    "ORDERS_TOML",
    "PLANT_TOML",
    "PRODUCT",
    "REFERENCE_RUNS",
    "ROLLS",
    "LookScene",
    "RollScene",
    "StripScene",
]

PRODUCT: Final = "negative-100"

PLANT_TOML: Final = """\
# An invented coating line.
name = "Skerrow Head coating works, line 2"
web_width = "1380 mm"
datum_edge = "drive side"

[[scanners]]
name = "line-end scanner"
wavelength_nm = 850

# Where rollers stand, in the order the web passes them, and what the emulsion is there.
[[zones]]
name = "unwind"
stage = "before coating"

[[zones]]
name = "coating"
stage = "coating to drying"

[[zones]]
name = "chill box"
stage = "coating to drying"

[[zones]]
name = "dryer 1"
stage = "coating to drying"

[[zones]]
name = "dryer 2"
stage = "coating to drying"

[[zones]]
name = "after dryer 2"
stage = "after drying"

[[zones]]
name = "scanner"
stage = "after drying"

[[zones]]
name = "winder"
stage = "after drying"

# Diameters as on the machine drawings, some in inches.
[[rollers]]
name = "R01 unwind guide"
diameter = "80 mm"
tolerance = "0.1 mm"
zone = "unwind"

[[rollers]]
name = "R02 web cleaner"
diameter = "4 in"
tolerance = "0.1 mm"
zone = "unwind"

[[rollers]]
name = "R03 coating roll"
diameter = "300 mm"
tolerance = "0.1 mm"
side = "base"
zone = "coating"

[[rollers]]
name = "R04 chill box turner"
diameter = "160 mm"
tolerance = "0.2 mm"
side = "base"
zone = "chill box"

[[rollers]]
name = "R05 dryer 1 idler"
diameter = "120 mm"
tolerance = "0.2 mm"
side = "base"
zone = "dryer 1"

[[rollers]]
name = "R06 dryer 2 idler"
diameter = "5 1/2 in"
tolerance = "0.2 mm"
side = "base"
zone = "dryer 2"

[[rollers]]
name = "R07 lay-on roller"
diameter = "9 3/8 in"
tolerance = "0.2 mm"
side = "emulsion"
zone = "after dryer 2"

[[rollers]]
name = "R08 tension roller"
diameter = "240 mm"
tolerance = "0.2 mm"
side = "base"
zone = "after dryer 2"

[[rollers]]
name = "R09 scanner table roller"
diameter = "180 mm"
tolerance = "0.1 mm"
side = "base"
zone = "scanner"

[[rollers]]
name = "R10 winder lay-on"
diameter = "220 mm"
tolerance = "0.3 mm"
side = "emulsion"
zone = "winder"
"""

CLEANINGS_CSV: Final = """\
# Rollers cleaned by hand. Invented.
roller,on,note
R10 winder lay-on,2026-10-26,weekly round
R08 tension roller,2026-11-09,weekly round
R07 lay-on roller,2026-11-11T15:30,after the marks on W-2042; a speck of dry gelatin was found
"""

ORDERS_TOML: Final = """\
# What finishing needs of this film. Invented.
[[orders]]
number = "O-88"
product = "negative-100"
width = "35 mm"
length = "6 m"
quantity = 200

[[orders]]
number = "O-91"
product = "negative-100"
width = "16 mm"
length = "3 m"
quantity = 60
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class StripScene:
    """A strip of a roll: the process run it went through, and its place (fractions of length and width)."""

    name: str
    run: str
    along: float
    across: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LookScene:
    """A further blind look at a sheet."""

    name: str
    sheet: str
    examiner: str
    on: str
    again: int = 0
    """Of one who had looked at it before."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RollScene:
    """A roll and what befell it. Places along and stretches are fractions of its length."""

    name: str
    length_m: float
    seed: int
    verdict: str
    """What ought to come of it."""
    batches: tuple[tuple[str, float, float], ...]
    sheets: int
    strips: tuple[StripScene, ...]
    dirt_per_m2: float = 0.8
    roller: str = ""
    roller_diameter_mm: float = 0.0
    roller_across_mm: float = 0.0
    streak_across_mm: float = 0.0
    streak_from: float = 0.0
    dirty: tuple[float, float] = (0.0, 0.0)
    dirty_per_m2: float = 0.0
    slow_batch: str = ""
    slow_log_h: float = 0.0
    rarities_at: float = 0.0
    """Where a comet, a ring and a hole lie, between the sheets."""
    band_mm: float = 0.0
    slowed: tuple[float, float] = (0.0, 0.0)
    """Between these the web ran slower, as an encoder counted."""
    looks: tuple[LookScene, ...] = ()
    chosen_at: float = 0.0
    """Where a sheet was taken because of a batch border; none where 0."""
    oddities: bool = False
    """Whether a photograph, a contradiction and a mistake that was taken back are among the sightings."""
    coated: str = "2026-11-10"
    """Day, or day and time."""
    measured_on: str = "2026-11-13"
    """Day on which its properties were measured."""


REFERENCE_RUNS: Final = {"P-311": 0.0, "P-312": 0.0, "P-313": 0.11}
"""Process runs, and by how much density each lifted everything: the last was out of its limits."""

ROLLS: Final = (
    RollScene(
        name="W-2041",
        length_m=14.0,
        seed=2041,
        verdict="release",
        batches=(("E-518", 0.0, 1.0),),
        sheets=3,
        strips=(
            StripScene(name="S-1", run="P-311", along=0.15, across=0.2),
            StripScene(name="S-2", run="P-311", along=0.5, across=0.5),
            StripScene(name="S-3", run="P-312", along=0.85, across=0.8),
        ),
        looks=(LookScene(name="B1", sheet="sheet 2", examiner="examiner B", on="2026-11-14"),),
    ),
    RollScene(
        name="W-2042",
        length_m=42.0,
        seed=2042,
        verdict="cut out",
        batches=(("E-518", 0.0, 0.55), ("E-519", 0.55, 1.0)),
        sheets=5,
        strips=(
            StripScene(name="S-1", run="P-311", along=0.1, across=0.25),
            StripScene(name="S-2", run="P-312", along=0.4, across=0.75),
            StripScene(name="S-3", run="P-311", along=0.6, across=0.25),
            StripScene(name="S-4", run="P-312", along=0.95, across=0.75),
        ),
        roller="R07 lay-on roller",
        roller_diameter_mm=238.125,
        roller_across_mm=413.0,
        streak_across_mm=905.0,
        streak_from=0.41,
        dirty=(0.62, 0.70),
        dirty_per_m2=16.0,
        rarities_at=0.22,
        looks=(
            LookScene(name="B1", sheet="sheet 3", examiner="examiner B", on="2026-11-14"),
            LookScene(name="B2", sheet="sheet 4", examiner="examiner B", on="2026-11-14"),
            LookScene(name="A1", sheet="sheet 4", examiner="examiner A", on="2026-11-17", again=1),
        ),
        chosen_at=0.55,
        coated="2026-11-11T07:40",
        oddities=True,
    ),
    RollScene(
        name="W-2043",
        length_m=14.0,
        seed=2043,
        verdict="hold",
        batches=(("E-519", 0.0, 0.45), ("E-520", 0.45, 1.0)),
        sheets=4,
        strips=(
            StripScene(name="S-1", run="P-312", along=0.1, across=0.3),
            StripScene(name="S-2", run="P-313", along=0.35, across=0.7),
            StripScene(name="S-3", run="P-312", along=0.55, across=0.3),
            StripScene(name="S-4", run="P-312", along=0.75, across=0.6),
            StripScene(name="S-5", run="P-313", along=0.9, across=0.7),
        ),
        slow_batch="E-520",
        slow_log_h=0.15,
        band_mm=41.0,
        slowed=(0.35, 0.6),
        coated="2026-11-12T06:20",
        measured_on="2026-11-16",
    ),
)
