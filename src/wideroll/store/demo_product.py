"""The invented product: what a roll of it is meant to be, what it must meet, and what its faults cost."""

from typing import Final

from wideroll.examination import GradedSample, GradeFit, GradeScale, MarkShape, Viewing, fit_grades
from wideroll.store.demo_properties import PROPERTIES_TOML

__all__ = ["DYES", "grade_fit", "product_toml"]

DYES: Final = ((0.96, 0.07, 0.00), (0.21, 0.88, 0.10), (0.13, 0.25, 0.90))
"""Red, green and blue density (rows) of a unit of cyan, magenta and yellow."""

_STREAK, _SPOT = MarkShape.STREAK, MarkShape.SPOT
_SAMPLES: Final = (
    ("A", _STREAK, 0.008, 1.0),
    ("A", _STREAK, 0.012, 0.8),
    ("B", _STREAK, 0.018, 1.0),
    ("B", _STREAK, 0.024, 0.8),
    ("C", _STREAK, 0.040, 1.0),
    ("C", _STREAK, 0.060, 0.8),
    ("D", _STREAK, 0.110, 1.0),
    ("D", _SPOT, 0.180, 0.8),
    ("E", _SPOT, 0.360, 0.8),
    ("E", _SPOT, 0.480, 1.2),
)
"""Grade, shape, visual density above the surround, and width in mm of each reference sample."""
_SCALE: Final = GradeScale(
    grades=("A", "B", "C", "D", "E"),
    samples=tuple(GradedSample(grade=g, shape=s, density=d, width_mm=w) for g, s, d, w in _SAMPLES),
    viewing=Viewing(magnification=3.0),
)
_LANE_LIMIT: Final = {False: 20, True: 40}
"""By whether the rolls are small."""

_HEAD: Final = """\
# An invented colour negative film. Limits are this product's own.
film_type = "colour negative"
sensitisation_nm = [[380, 690]]

[aims]
tolerance_density = 0.06
{aims}
[reference]
limit_density = 0.04

[reference.aims]
tolerance_density = 0.04
{aims}
# Status M densities of a unit of cyan, magenta and yellow (columns), from separation sections.
[dyes]
matrix = [{dyes}]

# Graded by the plant's reference samples, under a 3 times loupe.
[grades]
scale = ["A", "B", "C", "D", "E"]
magnification = 3.0

{samples}
"""

_CRITERIA: Final = """\
[[criteria]]
name = "Scan coverage"
measurand = "coverage"
subject = "scan"
limit = 0.98
unit = "share"
consequence = "hold"

[[criteria]]
name = "Sample sheets per batch"
measurand = "evidence count"
subject = "sheets"
limit = 1
unit = "sheets"
consequence = "hold"

[[criteria]]
name = "Usable strips per batch"
measurand = "evidence count"
subject = "strips"
limit = 2
unit = "strips"
consequence = "hold"

[[criteria]]
name = "Metal"
measurand = "forbidden"
subject = "sheets"
kinds = ["metal"]
limit = 0
unit = "found"
consequence = "hold"
guard_along = "2 m"
guard_across = "100 mm"

[[criteria]]
name = "Sighted spots"
measurand = "flaw"
subject = "sheets"
kinds = ["sighted spot", "sighted comet", "sighted bubble"]
limit = 3
unit = "mm"
consequence = "cut out"
guard_along = "0.25 m"
guard_across = "5 mm"

[[criteria]]
name = "Other sightings"
measurand = "forbidden"
subject = "sheets"
kinds = [
    "sighted streak", "sighted band", "sighted hole", "sighted pinhole", "sighted scratch", "sighted static mark",
    "sighted pressure mark", "sighted fog", "sighted coating void", "sighted edge fault", "sighted other",
]
limit = 0
unit = "found"
consequence = "hold"
guard_along = "0.5 m"
guard_across = "5 mm"

[[criteria]]
name = "Scratches"
measurand = "forbidden"
subject = "scan"
kinds = ["scratch"]
limit = 0
unit = "found"
consequence = "cut out"
guard_along = "0.25 m"
guard_across = "5 mm"

[[criteria]]
name = "Streaks"
measurand = "flaw"
subject = "scan"
kinds = ["streak"]
limit = 0.5
unit = "%"
consequence = "cut out"
guard_along = "0.5 m"
guard_across = "2 mm"

[[criteria]]
name = "Streak grade"
measurand = "grade"
subject = "sheets"
kinds = ["streak"]
limit = "B"
consequence = "hold"
guard_along = "0.5 m"
guard_across = "2 mm"

[[criteria]]
name = "Bands"
measurand = "flaw"
subject = "scan"
kinds = ["band"]
limit = 1
unit = "%"
consequence = "hold"

[[criteria]]
name = "Repeating marks"
measurand = "flaw"
subject = "scan"
kinds = ["repeating marks"]
limit = 0
unit = "per m"
consequence = "cut out"
guard_along = "0.75 m"
guard_across = "3 mm"

[[criteria]]
name = "Spots in a stretch"
measurand = "rate of marks in a stretch"
kinds = ["spot", "comet"]
least_size = "0.5 mm"
window = "1 m"
limit = 4
unit = "per m²"
consequence = "cut out"
guard_along = "0.25 m"
second_quality = true

[[criteria]]
name = "Spots in a finished roll"
measurand = "marks in a finished roll"
kinds = ["spot", "comet"]
least_size = "0.5 mm"
limit = 1
unit = "marks"
consequence = "cut out"

[[criteria]]
name = "Spots"
measurand = "rate of marks"
kinds = ["spot", "comet"]
least_size = "0.5 mm"
limit = 3
good = 1
unit = "per m²"
consequence = "reject"

[[criteria]]
name = "Spots by scan and sheets"
measurand = "rate of marks"
subject = "scan and sheets"
kinds = ["spot", "comet"]
least_size = "0.5 mm"
limit = 3
good = 1
unit = "per m²"
consequence = "hold"

# A lane of so short a roll can't prove much: what is found is compared bare.
[[criteria]]
name = "Spots in a 35 mm lane"
measurand = "rate of marks"
kinds = ["spot", "comet"]
least_size = "0.5 mm"
region = "lane"
lane = "35 mm"
limit = {lane_limit}
risk = 0.5
unit = "per 100 ft"
consequence = "cut out"

[[criteria]]
name = "Holes and pinholes"
measurand = "rate of marks"
kinds = ["hole", "pinhole"]
limit = 0.5
good = 0.05
unit = "per m²"
consequence = "reject"

[[criteria]]
name = "Speed"
measurand = "reading"
subject = "speed deviation"
limit = 0.06
unit = "log H"
consequence = "cut out"

[[criteria]]
name = "Contrast"
measurand = "reading"
subject = "contrast deviation"
limit = 0.08
unit = "ratio"
consequence = "cut out"

[[criteria]]
name = "Minimum density"
measurand = "reading"
subject = "minimum density deviation"
limit = 0.05
unit = "density"
consequence = "cut out"

"""

_TAIL: Final = """\
[[widths]]
name = "35 mm"
width = "34.975 mm"
tolerance = "0.025 mm"
lengths = [
  { length = "3 m", value = 3.6, second_value = 1.5 },
  { length = "6 m", value = 7.5, second_value = 3.0 },
]

# Sold by the metre.
[[widths]]
name = "16 mm"
width = "15.95 mm"
tolerance = "0.025 mm"
value_per_m = 0.42

[cutting]
knife_step = "1 mm"
edge_trim = "8 mm"
least_strip = "2 mm"
least_piece = "2 m"
setup = "1 m"
setup_minutes = 6
value_per_minute = 0.5

# What a customer's complaint, scrap and a further look are taken to cost.
[costs]
currency = "cost units"
scrap_per_m2 = 4.0
sheet = 6.0
strip = 9.0

[costs.escaped]
"Spots" = 0.1
"Spots in a stretch" = 0.3
"Metal" = 5.0
"Streaks" = 20.0
"Repeating marks" = 15.0
"Speed" = 6.0
"""


def product_toml(aims: str, *, small: bool) -> str:
    """The product's file; ``aims`` are its curves and those of the reference film alike."""
    samples = (
        f'[[grades.samples]]\ngrade = "{grade}"\nshape = "{shape}"\ndensity = {density:.3f}\nwidth = "{width:g} mm"\n'
        for grade, shape, density, width in _SAMPLES
    )
    dyes = ", ".join(f"[{', '.join(f'{one:.2f}' for one in row)}]" for row in DYES)
    head = _HEAD.format(aims=aims, dyes=dyes, samples="\n".join(samples))
    return head + _CRITERIA.format(lane_limit=_LANE_LIMIT[small]) + PROPERTIES_TOML + _TAIL


def grade_fit() -> GradeFit:
    """The product's scale of grades as its reference samples carry it."""
    return fit_grades(_SCALE)
