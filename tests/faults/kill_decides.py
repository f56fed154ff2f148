"""Kill decide and take-in at random moments, and look whether the same command then ends as if undisturbed.

python tests/faults/kill_decides.py [--kills 200] [--seed 1] [--database sqlite]

On a tiny plant whose sightings change each time, so that each run takes in, decides and supersedes; every other time
its results are taken away first, so that the roll is scanned anew. Once with the record in SQLite, once in a private
PostgreSQL cluster, whose server is stopped as by a power cut now and then. After each kill the command is run again to
its end: results must be those of an undisturbed plant, byte by byte, each event that was there before must be there
still, and the record must verify. Prints one line for each database; exit code 1 when any of it fails.
"""

import argparse
import importlib.util
import os
import random
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from private_postgresql import cluster
from wideroll.cli import main as wideroll
from wideroll.readers import PlantFolder
from wideroll.store import RecordStore, check_files

ROLL = "T-1"
_SHELLS = Path(__file__).parents[1] / "shells" / "conftest.py"
_FEW = 20
_NOT_COMPARED = {"inputs.json"}
"""A memory of times, which are others on each run."""
_SEEN = ("0.4 mm", "0.5 mm")


def write_plant(root: Path, url: str | None) -> None:
    """The tiny plant of the commands' tests, with its record at an address, which isn't part of a decision."""
    spec = importlib.util.spec_from_file_location("plant_of_the_tests", _SHELLS)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    module._write_plant(root)  # noqa: SLF001  -- the one place where that plant is written
    if url is not None:
        (root / "record.toml").write_text(f'record = "{url}"\n')


def see(root: Path, variant: int) -> None:
    """Another sighting than before, so that the decision is stale."""
    path = root / "rolls" / ROLL / "examination" / "sightings.csv"
    path.write_text(f"sheet,kind,along,across,size,wipes_off\nA,spot,10 cm,1 in,{_SEEN[variant]},yes\n")


def run(*words: str, killed_after_s: float | None = None) -> int:
    """A command in a process of its own; its exit code, −9 where it was killed before it ended."""
    child = os.fork()
    if child == 0:
        quiet = os.open(os.devnull, os.O_WRONLY)
        os.dup2(quiet, 1)
        os.dup2(quiet, 2)
        os._exit(wideroll(words))
    if killed_after_s is not None:
        time.sleep(killed_after_s)
        os.kill(child, signal.SIGKILL)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def results(root: Path) -> dict[str, bytes]:
    """Content of each file of the roll's results; what was being written lies hidden until a later run clears it."""
    folder = root / "results" / ROLL
    files = {path.relative_to(folder): path for path in sorted(folder.rglob("*")) if path.is_file()}
    return {
        name.as_posix(): path.read_bytes()
        for name, path in files.items()
        if path.name not in _NOT_COMPARED and not any(part.endswith((".lock", ".part", ".old")) for part in name.parts)
    }


@dataclass(frozen=True, kw_only=True)
class Undisturbed:
    """What a run gives that nobody kills, and how long it takes."""

    code: int
    files: dict[str, bytes]
    lasts_s: float


def undisturbed(variant: int) -> Undisturbed:
    """Decide on a plant of its own."""
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder) / "plant"
        write_plant(root, None)
        see(root, variant)
        begun = time.monotonic()
        code = run("decide", str(root), ROLL, "--who", "R. Engineer")
        return Undisturbed(code=code, files=results(root), lasts_s=time.monotonic() - begun)


@dataclass(kw_only=True)
class Trial:
    """A plant that is worked on, and what is known of it."""

    root: Path
    undisturbed: list["Undisturbed"]
    digests: list[str] = field(default_factory=list)
    killed: int = 0
    wrong: list[str] = field(default_factory=list)

    def kill_one(self, n: int, rng: random.Random) -> None:
        """Change the plant, kill a command at work on it, run it again and look at everything."""
        variant = n % len(_SEEN)
        see(self.root, variant)
        if rng.random() < 0.5:
            shutil.rmtree(self.root / "results" / ROLL, ignore_errors=True)
        words = (("take-in", "decide")[rng.random() < 0.7], str(self.root), ROLL, "--who", "R. Engineer")
        self.killed += (
            run(*words, killed_after_s=rng.uniform(0.0, self.undisturbed[variant].lasts_s)) == -signal.SIGKILL
        )
        self.look_at_events(f"kill {n}")
        code = run("decide", *words[1:])
        self.look_at_events(f"kill {n}, run again")
        right, there = self.undisturbed[variant], results(self.root)
        if code != right.code:
            self.say(f"kill {n}: exit code {code} instead of {right.code}")
        files = right.files
        if there != files:
            other = [name for name in files.keys() | there.keys() if files.get(name) != there.get(name)]
            self.say(f"kill {n}: other results: {', '.join(sorted(other))}")

    def say(self, what: str) -> None:
        """Keep and print what is wrong."""
        self.wrong.append(what)
        print(f"  {what}", flush=True)

    def look_at_events(self, when: str) -> None:
        """Every event of before must be there, and the record must hold."""
        with RecordStore(PlantFolder(self.root).record_url()) as record:
            report = record.verify()
            digests = [row[7] for row in record.rows()]
        if not report.intact:
            self.say(f"{when}: event {report.first_bad}: {report.why}")
        if digests[: len(self.digests)] != self.digests:
            self.say(f"{when}: an event was lost")
        self.digests = digests


def kill_many(trial: Trial, url: str | None, kills: int, seed: int, now_and_then: Callable[[], None]) -> int:
    """Kill so many times; how much is wrong afterwards."""
    rng = random.Random(seed)  # noqa: S311  -- moments, no secrets
    root = trial.root
    write_plant(root, url)
    for n in range(kills):
        trial.kill_one(n, rng)
        if n % _FEW == _FEW - 1:
            now_and_then()
            print(f"  {n + 1} kills, {len(trial.wrong)} wrong", file=sys.stderr, flush=True)
    with RecordStore(PlantFolder(root).record_url()) as record:
        report = record.verify()
        files = check_files(root, record.rows())
    if files.why:
        trial.say(f"event {files.first_bad}: {files.why}")
    print(
        f"{'sqlite' if url is None else 'postgresql'}: {kills} times killed, {trial.killed} before the end, "
        f"{report.events} events, {len(trial.wrong)} wrong, verify: {'holds' if report.intact else report.why}",
        flush=True,
    )
    return len(trial.wrong)


def main() -> int:
    """Run on both databases."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--database", choices=("sqlite", "postgresql"), help="one of them instead of both")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        right = [undisturbed(variant) for variant in range(len(_SEEN))]
        sqlite, postgresql = (Trial(root=Path(folder, name), undisturbed=right) for name in ("a", "b"))
        wrong = 0
        if options.database != "postgresql":
            wrong += kill_many(sqlite, None, options.kills, options.seed, lambda: None)
        if options.database == "sqlite":
            return bool(wrong)
        with cluster(fsync=True) as server:

            def power_cut() -> None:
                server.stop("immediate")
                server.start()

            wrong += kill_many(postgresql, server.new_database(), options.kills, options.seed, power_cut)
    return bool(wrong)


if __name__ == "__main__":
    sys.exit(main())
