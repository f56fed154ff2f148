import json
from pathlib import Path
from typing import Any

import pytest

from wideroll.errors import InputError
from wideroll.readers.criterion_table import CriterionTable
from wideroll.readers.exposure_file import ExposureFile
from wideroll.readers.models import PlantFile, ProductFile, RollFile
from wideroll.readers.scan_file import ScanFile
from wideroll.readers.toml_files import placed, read_toml
from wideroll.release import Measurand
from wideroll.roll import Side

LOG_H = [-3.0, -2.0, -1.5, -1.0, 0.0]
AIMS = {"tolerance_density": 0.1, "log_h": LOG_H, "visual": [0.2, 0.3, 0.8, 1.4, 2.2]}
PLANT = {
    "name": "Little Mere, line 1",
    "web_width": "54 3/8 in",
    "datum_edge": "drive side",
    "rollers": [
        {
            "name": "R1",
            "diameter": '9-3/8"',
            "tolerance": "0,1 mm",
            "side": "base",
            "across_from": "10 mm",
            "across_to": "700 mm",
            "zone": "dryer",
        }
    ],
    "scanners": [{"name": "s", "wavelength_nm": 850}],
}
PRODUCT = {
    "film_type": "black-and-white",
    "sensitisation_nm": [[380, 690]],
    "aims": AIMS,
    "reference": {"limit_density": 0.05, "aims": AIMS},
    "criteria": [
        {
            "name": "Spots",
            "measurand": "rate of marks",
            "limit": 2,
            "unit": "per m²",
            "consequence": "reject",
            "kinds": ["spot"],
            "least_size": "0.2 mm",
            "confidence": 0.9,
            "window": "50 cm",
            "guard_along": "1 m",
            "guard_across": "2 mm",
            "subject": "scan",
        }
    ],
    "widths": [{"name": "35", "width": "34.975 mm", "tolerance": "0.025 mm", "value_per_m": 2.0}],
    "cutting": {
        "knife_step": "1 mm",
        "edge_trim": "8 mm",
        "trim_between": "0 mm",
        "least_piece": "5 m",
        "setup": "2 m",
        "most_cross_cuts": 40,
    },
}
ROLL = {
    "product": "p",
    "length": "40 m",
    "splices": ["12 m"],
    "batches": [
        {"name": "E-1", "along_from": "0 m", "along_to": "20 m"},
        {"name": "E-2", "along_from": "20 m", "along_to": "40 m"},
    ],
}
SECOND = PRODUCT["criteria"][0] | {"second_quality": True}
SCAN = {"scanner": "s", "pitch_along": "0.3 mm", "pitch_across": "0.2 mm", "segments": ["a.tif", "b.tif"]}
EXPOSURE = {"illuminance_lx": 75.0, "time_s": 0.01, "steps": 21, "increment_density": 0.15}
FILES = {
    "plant": (PlantFile, PLANT),
    "product": (ProductFile, PRODUCT),
    "roll": (RollFile, ROLL),
    "scan": (ScanFile, SCAN),
    "exposure": (ExposureFile, EXPOSURE),
}
MAY_BE_LEFT_OUT = {
    *("plant.rollers", "plant.scanners", "product.cutting", "roll.splices"),
    *(f"plant.rollers.1.{name}" for name in ("tolerance", "side", "across_from", "across_to", "zone")),
    *(f"product.cutting.{name}" for name in PRODUCT["cutting"]),
    *(f"product.criteria.1.{name}" for name in ("least_size", "confidence", "window", "guard_along", "guard_across")),
    *("product.criteria.1.subject", "product.criteria.1.kinds"),
}


def _toml(value: Any) -> str:
    """A value as inline TOML, which for these is JSON with other signs between name and value."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key} = {_toml(item)}" for key, item in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(_toml(item) for item in value) + "]"
    return json.dumps(value, ensure_ascii=False)


def _fields(value: Any, path: tuple[str | int, ...] = ()) -> list[tuple[str | int, ...]]:
    """The way to every field of a file, tables and what is in them."""
    found: list[tuple[str | int, ...]] = []
    if isinstance(value, dict):
        for key, item in value.items():
            found += [(*path, key), *_fields(item, (*path, key))]
    elif isinstance(value, list) and isinstance(value[0], dict):
        found += _fields(value[0], (*path, 0))
    return found


def _changed(data: dict[str, Any], way: tuple[str | int, ...], *, name: str = "", value: Any = None) -> dict[str, Any]:
    """The file with one field left out, renamed, or of another value."""
    changed = json.loads(json.dumps(data))
    table = changed
    for part in way[:-1]:
        table = table[part]
    old = table.pop(way[-1])
    if name or value is not None:
        table[name or way[-1]] = old if value is None else value
    return changed


def _dotted(way: tuple[str | int, ...]) -> str:
    return ".".join(str(part + 1) if isinstance(part, int) else part for part in way)


EVERY_FIELD = [(file, way) for file, (_, data) in FILES.items() for way in _fields(data)]
IDS = [f"{file}.{_dotted(way)}" for file, way in EVERY_FIELD]


@pytest.fixture
def read(tmp_path: Path):
    """Write a file and read it back as its model, built where it can be."""

    def read(file: str, data: dict[str, Any] | str) -> Any:
        path = tmp_path / f"{file}.toml"
        text = data if isinstance(data, str) else "\n".join(f"{key} = {_toml(item)}" for key, item in data.items())
        path.write_text(text, encoding="utf-8")
        model = FILES[file][0]
        with placed(path):
            made = read_toml(path, model)
            if file == "plant":
                return made.build()
            if file == "product":
                return made.build("name", tmp_path)
            return made.build("name") if file == "roll" else made

    return read


def test_a_plant(read) -> None:
    """Lengths in shop units come out in millimetres."""
    plant = read("plant", PLANT)
    (roller,) = plant.rollers
    assert plant.web_width_mm == 1381.125
    assert (roller.diameter_mm, roller.tolerance_mm, roller.side) == (238.125, 0.1, Side.BASE)
    assert (roller.across_from_mm, roller.across_to_mm, roller.zone) == (10.0, 700.0, "dryer")
    assert plant.scanners["s"].wavelength_nm == 850.0


@pytest.mark.parametrize(
    ("given", "confidence"), [({}, 0.95), ({"confidence": 0.99}, 0.99), ({"risk": 0.01}, 0.99), ({"risk": 0.5}, 0.5)]
)
@pytest.mark.parametrize(
    ("subject", "unit"),
    [("speed deviation", "log H"), ("worst density deviation", "density"), ("parallelism", "density")],
)
def test_a_criterion_states_its_risk_or_its_confidence(read, given, confidence, subject, unit) -> None:
    """Either word sets the one number; with neither the risk is 5 %, as in files that know only confidence."""
    reading = {"name": "R", "measurand": "reading", "limit": 0.05, "unit": unit, "consequence": "hold"}
    (criterion,) = read("product", PRODUCT | {"criteria": [reading | {"subject": subject} | given]}).criteria
    assert (criterion.subject, criterion.confidence) == (subject, pytest.approx(confidence))
    assert criterion.risk == pytest.approx(1.0 - confidence)


@pytest.mark.parametrize(
    ("risk", "where", "rule"),
    [
        (0.05, "criterion Spots, risk", "only one of the two may be given"),
        (0, "field criteria.1.risk", "greater than 0"),
        (0.6, "field criteria.1.risk", "less than or equal to 0.5"),
        ("5 %", "field criteria.1.risk", "number"),
    ],
)
def test_a_risk_that_can_not_be_is_refused(read, refused, risk, where, rule) -> None:
    """A risk of nothing, of more than a half, in words, or beside a confidence is named with the mend."""
    with refused("product.toml", where, rule=rule):
        read("product", PRODUCT | {"criteria": [PRODUCT["criteria"][0] | {"risk": risk}]})


def test_a_product(read) -> None:
    """Every field of a product's file arrives where it is used."""
    product = read("product", PRODUCT)
    (criterion,) = product.criteria
    assert (product.name, product.process_limit_density) == ("name", 0.05)
    assert (criterion.measurand, criterion.least_size_mm, criterion.window_m) == (Measurand.MARK_RATE, 0.2, 0.5)
    assert (criterion.confidence, criterion.guard_m, criterion.guard_mm) == (0.9, 1.0, 2.0)
    assert product.widths[0].width_mm == 34.975
    assert (product.cut_rules.edge_trim_mm, product.cut_rules.least_piece_m) == (8.0, 5.0)


def test_batches_may_come_in_any_order(read) -> None:
    """The order of the tables in roll.toml doesn't matter; batches come in the order they lie on the web."""
    assert read("roll", ROLL | {"batches": ROLL["batches"][::-1]}) == read("roll", ROLL)


def test_a_gap_between_batches_is_read_as_it_is(read) -> None:
    """A stretch that no batch claims stays unclaimed: it belongs to neither neighbour."""
    batches = [ROLL["batches"][0], {"name": "E-2", "along_from": "25 m", "along_to": "39 m"}]
    card = read("roll", ROLL | {"batches": batches})
    assert [(batch.along_from_m, batch.along_to_m) for batch in card.batches] == [(0.0, 20.0), (25.0, 39.0)]


@pytest.mark.parametrize(("file", "way"), EVERY_FIELD, ids=IDS)
def test_a_missing_field_is_named(read, refused, file: str, way: tuple[str | int, ...]) -> None:
    """A field that must be there is asked for by file and field; one that may be left out has a default."""
    data = _changed(FILES[file][1], way)
    if f"{file}.{_dotted(way)}" in MAY_BE_LEFT_OUT:
        read(file, data)
        return
    rule = "" if file == "exposure" or way[-1] == "visual" else "must be there"
    with refused(f"{file}.toml", "step tablet" if way[-1] in {"steps", "increment_density"} else "", rule=rule):
        read(file, data)


@pytest.mark.parametrize(("file", "way"), EVERY_FIELD, ids=IDS)
def test_a_misspelt_field_is_named(read, refused, file: str, way: tuple[str | int, ...]) -> None:
    """A field under another name isn't left out silently, even where it could be."""
    wrong = (*way[:-1], f"{way[-1]}_")
    if f"{file}.{_dotted(way)}" in MAY_BE_LEFT_OUT:
        with refused(f"{file}.toml, field {_dotted(wrong)}", rule="no such field"):
            read(file, _changed(FILES[file][1], way, name=f"{way[-1]}_"))
    else:
        with refused(f"{file}.toml", rule=""):
            read(file, _changed(FILES[file][1], way, name=f"{way[-1]}_"))


@pytest.mark.parametrize("value", [True, "²", {"a": 1}, [[1]]], ids=["true", "text", "table", "list"])
@pytest.mark.parametrize(("file", "way"), EVERY_FIELD, ids=IDS)
def test_a_field_of_the_wrong_type_is_named(
    read, refused, file: str, way: tuple[str | int, ...], value: object
) -> None:
    """True, text, a table and a list are refused wherever something else is meant; none is bent into a number."""
    free_text = {"name", "zone", "unit", "subject", "product", "scanner", "datum_edge"}
    if value == "²" and way[-1] in free_text:
        return
    limit = value == "²" and way[-1] == "limit"  # text is a grade, which only one kind of criterion has
    field = _dotted(way[:-1] if limit else way)
    with refused(f"{file}.toml, field {field}", rule=""):
        read(file, _changed(FILES[file][1], way, value=value))


@pytest.mark.parametrize(
    ("file", "way", "value", "where", "rule"),
    [
        ("plant", ("web_width",), "0 mm", "field web_width", "greater than 0"),
        ("plant", ("web_width",), "-3 mm", "field web_width", "greater than 0"),
        ("plant", ("web_width",), "1380", "field web_width", "a number and a unit"),
        ("plant", ("web_width",), 1380, "field web_width", "text with a unit"),
        ("plant", ("web_width",), "9" * 300 + " m", "field web_width", "less than 1000 km"),
        ("plant", ("rollers", 0, "diameter"), "0 mm", "roller R1, diameter_mm", "greater than 0"),
        ("plant", ("rollers", 0, "diameter"), "-9 3/8 in", "roller R1, diameter_mm", "greater than 0"),
        ("plant", ("rollers", 0, "tolerance"), "-1 mm", "roller R1, tolerance_mm", "not be negative"),
        ("plant", ("rollers", 0, "side"), "top", "field rollers.1.side", "'emulsion', 'base' or 'both'"),
        ("plant", ("rollers", 0, "across_to"), "10 mm", "roller R1", "beyond across_from"),
        ("plant", ("rollers",), [PLANT["rollers"][0]] * 2, "rollers", "given once"),
        ("plant", ("scanners", 0, "wavelength_nm"), 0, "field scanners.1.wavelength_nm", "greater than 0"),
        ("plant", ("scanners", 0, "wavelength_nm"), "850", "field scanners.1.wavelength_nm", "number"),
        ("plant", ("scanners",), [PLANT["scanners"][0], {"name": "s", "wavelength_nm": 635}], "scanners", "once"),
        ("product", ("film_type",), "colour", "field film_type", "'colour negative'"),
        ("product", ("sensitisation_nm",), [], "field sensitisation_nm", "too short"),
        ("product", ("sensitisation_nm",), [[690, 380]], "sensitisation_nm", "shorter wavelength to the longer"),
        ("product", ("sensitisation_nm",), [[380]], "field sensitisation_nm.1.2", "must be there"),
        ("product", ("aims", "log_h"), LOG_H[::-1], "field aims: log_h", "each greater than the last"),
        ("product", ("aims", "log_h"), LOG_H[:4], "field aims: log_h", "at least 5 values"),
        ("product", ("aims", "visual"), [0.2], "field aims: visual", "as many densities as log_h has values (5)"),
        ("product", ("aims", "tolerance_density"), 0, "field aims.tolerance_density", "greater than 0"),
        ("product", ("reference", "limit_density"), -1, "field reference.limit_density", "greater than 0"),
        ("product", ("criteria",), [], "field criteria", "too short"),
        ("product", ("criteria",), PRODUCT["criteria"] * 2, "criteria", "given once"),
        ("product", ("criteria", 0, "measurand"), "marks", "field criteria.1.measurand", "'rate of marks'"),
        ("product", ("criteria", 0, "limit"), -1, "criterion Spots, limit", "0 or more"),
        ("product", ("criteria", 0, "unit"), "per acre", "criterion Spots, unit", "per m²"),
        ("product", ("criteria", 0, "subject"), "laser", "criterion Spots, subject", "must be one of"),
        ("product", ("criteria", 0, "kinds"), ["spott"], "criterion Spots, kinds", "kinds of mark"),
        ("product", ("criteria", 0, "confidence"), 1.0, "field criteria.1.confidence", "less than 1"),
        ("product", ("criteria", 0, "window"), "0 m", "criterion Spots, window_m", "greater than 0"),
        ("product", ("widths", 0, "width"), "0 mm", "field widths.1.width", "greater than 0"),
        ("product", ("widths", 0, "tolerance"), "-1 mm", "field widths.1.tolerance", "0"),
        ("product", ("widths",), PRODUCT["widths"] * 2, "widths", "given once"),
        ("product", ("cutting", "knife_step"), "0 mm", "field cutting.knife_step", "greater than 0"),
        ("product", ("cutting", "setup"), "-1 m", "field cutting.setup", "greater than or equal to 0"),
        ("product", ("cutting",), {"most_run": "4 m"}, "width 35, least_piece", "without a stop (4 m)"),
        ("product", ("criteria",), [SECOND], "criterion Spots, second_quality", "what is cut out"),
        ("product", ("criteria",), [SECOND | {"second_quality": 1}], "criteria.1.second_quality", "boolean"),
        ("product", ("cutting", "most_cross_cuts"), 1, "field cutting.most_cross_cuts", "greater than or equal to 2"),
        ("roll", ("length",), "0 m", "roll.toml: length", "greater than 0"),
        ("roll", ("length",), "30 m", "batch E-2", "inside the roll (0 to 30 m)"),
        ("roll", ("length",), "12", "field length", "a number and a unit"),
        ("roll", ("splices",), ["41 m"], "splices", "inside the roll (0 to 40 m)"),
        ("roll", ("splices",), ["-1 m"], "splices", "inside the roll"),
        ("roll", ("splices",), ["12"], "field splices.1", "a number and a unit"),
        ("roll", ("batches",), [], "field batches", "too short"),
        ("roll", ("batches", 0, "along_to"), "20.1 m", "batch E-2", "must not overlap; batch E-1 ends at 20.1 m"),
        ("roll", ("batches", 0, "along_to"), "0 m", "batch E-1", "end after it starts"),
        ("roll", ("batches", 0, "along_from"), "-1 m", "batch E-1", "inside the roll"),
        ("roll", ("batches", 0, "along_from"), "", "field batches.1.along_from", "a number and a unit"),
        ("scan", ("pitch_along",), "0 mm", "pitch_along", "greater than 0"),
        ("scan", ("pitch_across",), "-1 mm", "pitch_across", "greater than 0"),
        ("scan", ("segments",), [], "field segments", "too short"),
        ("scan", ("segments",), ["a.tif", "a.tif"], "segments", "given once"),
        ("scan", ("segments",), "a.tif", "field segments", "list in square brackets"),
        ("exposure", ("time_s",), 0, "field time_s", "greater than 0"),
        ("exposure", ("steps",), 4, "field steps", "greater than or equal to 5"),
        ("exposure", ("steps",), 21.5, "field steps", "integer"),
        ("exposure", ("increment_density",), -0.15, "field increment_density", "greater than 0"),
    ],
)
def test_a_value_that_can_not_be_is_refused(
    read, refused, file: str, way: tuple[str | int, ...], value: object, where: str, rule: str
) -> None:
    """Numbers out of range, lengths without unit and things that contradict one another are named, with the mend."""
    with refused(f"{file}.toml", where, rule=rule):
        read(file, _changed(FILES[file][1], way, value=value))


@pytest.mark.parametrize(
    "tablet",
    [
        {"steps": 21, "step_density": LOG_H},
        {"increment_density": 0.15, "step_density": LOG_H},
        {"steps": 21, "increment_density": 0.15, "step_density": LOG_H},
        {},
    ],
)
def test_a_tablet_is_given_one_way(read, refused, tablet: dict[str, Any]) -> None:
    """A tablet described two ways at once, or not at all, is refused: one of the two would silently win."""
    with refused("exposure.toml: step tablet", rule="either steps and increment_density, or step_density"):
        read("exposure", {"illuminance_lx": 75, "time_s": 1, **tablet})


def test_two_steps_of_a_tablet_differ(read, refused) -> None:
    """Two steps of one density would give one exposure two densities of film."""
    with refused("exposure.toml: step_density", rule="same density"):
        read("exposure", {"illuminance_lx": 75, "time_s": 1, "step_density": [0, 0.1, 0.2, 0.2, 0.3]})


@pytest.mark.parametrize(
    "text",
    [
        "name = ",
        "name = 'a'\nname = 'b'",
        "name",
        "a = " + "[" * 5000,
        "a = " + "9" * 5000,
        "a = 1979-13-45",
        "name = 'a\x00'",
        "[[rollers]\n",
    ],
)
def test_what_is_not_toml_is_refused(read, refused, text: str) -> None:
    """A file that can't be parsed is an input error, however it is broken."""
    with refused("plant.toml", rule="must be TOML"):
        read("plant", text)


@pytest.mark.parametrize("value", ["inf", "-inf", "nan"])
def test_no_number_is_infinite(read, value: str) -> None:
    """TOML can write inf and nan; no field takes them."""
    text = f"illuminance_lx = {value}\ntime_s = 1\nsteps = 21\nincrement_density = 0.15\n"
    with pytest.raises(InputError, match="illuminance_lx"):
        read("exposure", text)


@pytest.mark.parametrize(
    ("change", "subject"),
    [
        ({"measurand": "forbidden", "kinds": ["metal"]}, "sheets"),
        ({"measurand": "forbidden", "kinds": ["scratch"]}, "scan"),
        ({"measurand": "flaw", "kinds": ["sighted spot"], "unit": "mm", "limit": 1}, "sheets"),
        ({"measurand": "flaw", "kinds": ["streak"], "unit": "%", "limit": 1}, "scan"),
    ],
)
def test_kinds_are_judged_by_the_source_that_sees_them(change, subject) -> None:
    """Without a subject, metal is for the sheets to show: that the scan saw none says nothing."""
    given = {"name": "n", "limit": 0, "unit": "found", "consequence": "hold"} | change
    assert CriterionTable(**given).build().subject == subject
    wrong = {"scan": "sheets", "sheets": "scan"}[subject]
    with pytest.raises(ValueError, match="seen on the"):
        CriterionTable(**given, subject=wrong)


def test_kinds_of_two_sources_need_two_criteria() -> None:
    """Nobody can say of which source a share that was looked at would be."""
    with pytest.raises(ValueError, match="Make a criterion for each"):
        CriterionTable(
            name="n", measurand="forbidden", limit=0, unit="found", consequence="hold", kinds=("metal", "scratch")
        ).build()


@pytest.mark.parametrize("kind", ["streak", "band", "fog", "edge fault"])
def test_what_is_never_counted_has_no_rate(kind) -> None:
    """A limit on the rate of streaks would count none, and always pass."""
    with pytest.raises(ValueError, match="would always pass"):
        CriterionTable(
            name="n", measurand="rate of marks", limit=1, unit="per m²", consequence="hold", kinds=("spot", kind)
        )
