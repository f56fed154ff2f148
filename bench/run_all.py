"""Run every benchmark, one after the other, and put their figures on one page.

python bench/run_all.py            all figures in full, written to docs/figures.md
python bench/run_all.py --quick    a short run of each that only checks the floors
python bench/run_all.py --only release sampling    these in full; the page keeps the rows of the others
"""

import argparse
import json
import platform
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
PAGE = ROOT / "docs" / "figures.md"
VALUE_KEYS = ("value", "ratio", "result")
LIMIT_KEYS = ("floor", "target", "limit")
NAME_KEYS = ("figure", "name", "what")

HEAD = """# Figures

Written by `make bench`. Ratios are against the baseline named, run in the same process. Each script in `bench/` states
its floors and fails below them.

{date} · {machine} · Python {python}

| room | figure | value | baseline | floor or target |
|---|---|--:|---|--:|
"""


def main() -> int:
    """Run the scripts; 1 when any of them failed."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="short runs; docs/figures.md stays as it is")
    parser.add_argument("--only", nargs="+", metavar="NAME", default=[], help="scripts to run, by name")
    options = parser.parse_args()
    quick = options.quick
    rows: list[tuple[str, ...]] = []
    failed: list[str] = []
    scripts = sorted(path for path in Path(__file__).parent.glob("*.py") if path != Path(__file__).resolve())
    if options.only:
        scripts = [script for script in scripts if script.stem in options.only]
        rows += kept_rows(options.only)
    for script in scripts:
        print(f"== {script.stem}", flush=True)
        code, figures = run(script, quick=quick)
        room = f"{script.stem} (failed)" if code else script.stem
        rows += [(room, *row) for row in table_rows(figures)]
        if code:
            failed.append(script.stem)
    if not quick:
        PAGE.write_text(page(sorted(rows, key=lambda row: row[0])), encoding="utf-8")
        print(f"figures: {PAGE.relative_to(ROOT)}")
    print(f"{len(scripts)} benchmarks, failed: {', '.join(failed) or 'none'}")
    return 1 if failed else 0


def kept_rows(without: list[str]) -> list[tuple[str, ...]]:
    """The page's rows of other scripts, as they stand."""
    lines = [line for line in PAGE.read_text(encoding="utf-8").splitlines() if line.startswith("| ")]
    cells = (line.strip().removeprefix("|").removesuffix("|").split("|") for line in lines[1:])
    rows = [tuple(cell.strip() for cell in row) for row in cells]
    return [row for row in rows if row[0].removesuffix(" (failed)") not in without]


def run(script: Path, *, quick: bool) -> tuple[int, object]:
    """The exit code of a script and what it wrote as JSON; its output goes where ours goes."""
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "figures.json"
        command = [sys.executable, str(script), "--json", str(out), *(["--quick"] if quick else [])]
        code = subprocess.run(command, cwd=ROOT, check=False).returncode  # noqa: S603  -- our own scripts
        try:
            return code, json.loads(out.read_text(encoding="utf-8"))
        except (OSError, ValueError) as error:
            print(f"{script.name}: no figures ({error})")
            return code or 1, []


def table_rows(figures: object, name: str = "") -> Iterator[tuple[str, str, str, str]]:
    """Figure, value, baseline and floor of whatever a script wrote: a list of figures, or mappings of any depth."""
    if isinstance(figures, list):
        for figure in figures:
            yield from table_rows(figure, name)
    elif isinstance(figures, dict) and (value := _first(figures, VALUE_KEYS)) is not None:
        title = _first(figures, NAME_KEYS)
        unit = str(figures.get("unit") or "")
        limit = _first(figures, LIMIT_KEYS)
        yield (
            _joined(name, "" if title is None else str(title)),
            f"{_number(value)} {unit}".strip(),
            str(figures.get("baseline") or ""),
            "" if limit is None else _number(limit),
        )
    elif isinstance(figures, dict):
        title = _first(figures, NAME_KEYS)
        inner = name if title is None else _joined(name, str(title))
        for key, value in figures.items():
            if key not in NAME_KEYS:
                yield from table_rows(value, inner if key == "figures" else _joined(inner, str(key)))
    elif isinstance(figures, bool | int | float):
        yield name, _number(figures), "", ""


def page(rows: list[tuple[str, ...]]) -> str:
    """The page of figures, with the day and the machine."""
    head = HEAD.format(date=datetime.now(UTC).date().isoformat(), machine=processor(), python=platform.python_version())
    return head + "".join(f"| {' | '.join(cell.replace('|', '/') for cell in row)} |\n" for row in rows)


def processor() -> str:
    """The processor's name where the system tells it."""
    try:
        lines = Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines()
    except OSError:
        lines = []
    names = [line.partition(":")[2].strip() for line in lines if line.startswith("model name")]
    return f"{names[0]}, {len(names)} cores" if names else platform.processor() or platform.machine()


def _first(figures: dict[str, object], keys: tuple[str, ...]) -> object:
    return next((figures[key] for key in keys if not isinstance(figures.get(key), dict | list | None)), None)


def _joined(*names: str) -> str:
    return ", ".join(name.replace("_", " ") for name in names if name)


def _number(value: object) -> str:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return str(value)
    return f"{value:,}" if isinstance(value, int) else f"{value:,.4g}" if abs(value) < 10_000 else f"{value:,.0f}"


if __name__ == "__main__":
    sys.exit(main())
