"""A PostgreSQL cluster of one's own, from the system's packages: on a socket in a temporary folder, gone afterwards."""

import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import count
from pathlib import Path

import psycopg

_COUNT = count(1)
_USER = "postgres"


class Cluster:
    """A running cluster, and the data and socket folder it lies in."""

    def __init__(self, folder: Path) -> None:
        """Name its folder."""
        self.folder = folder
        self.data = folder / "data"

    def new_database(self) -> str:
        """The address of a new empty database."""
        name = f"t{next(_COUNT)}"
        with psycopg.connect(self._address("postgres"), autocommit=True) as connection:
            connection.execute(f"CREATE DATABASE {name}")
        return f"postgresql+psycopg://{_USER}@/{name}?host={self.folder}"

    def _address(self, database: str) -> str:
        return f"host={self.folder} user={_USER} dbname={database}"

    def connect(self, url: str) -> psycopg.Connection:
        """A bare connection to a database of it, by its address."""
        return psycopg.connect(self._address(url.partition("?")[0].rpartition("/")[2]))

    def start(self, *, file_blocks: int | None = None) -> None:
        """Start the server; no file may be longer than so many blocks of 512 bytes."""
        limit = f"ulimit -f {file_blocks}; " if file_blocks else ""
        options = f"-c listen_addresses= -c unix_socket_directories={self.folder} -c max_connections=60"
        command = f"{limit}exec {_program('pg_ctl')} -w -s -D {self.data} -l {self.folder}/log -o '{options}' start"
        _run("sh", "-c", command)

    def stop(self, how: str = "fast") -> None:
        """Stop the server: smart, fast, or immediate as by a power cut."""
        _run(_program("pg_ctl"), "-w", "-s", "-D", str(self.data), "-m", how, "stop")

    def without_checksums(self) -> None:
        """From now on the stopped server doesn't check its pages."""
        _run(_program("pg_checksums"), "--disable", "--no-sync", "-D", str(self.data))


@contextmanager
def cluster(*, file_blocks: int | None = None, fsync: bool = False) -> Iterator[Cluster]:
    """Make a cluster, start it, and in the end stop and remove it. The server runs as a normal user."""
    folder = Path(tempfile.mkdtemp(prefix="wideroll-pg-"))
    try:
        if os.geteuid() == 0:
            shutil.chown(folder, _USER)
        made = Cluster(folder)
        _run(
            *(_program("initdb"), "-D", str(made.data), "-U", _USER, "-A", "trust", "-E", "UTF8", "--locale=C"),
            *("--data-checksums", "--no-sync", "--wal-segsize=1"),
        )
        if not fsync:
            with (made.data / "postgresql.conf").open("a") as settings:
                settings.write("fsync = off\n")
        made.start(file_blocks=file_blocks)
        try:
            yield made
        finally:
            if (made.data / "postmaster.pid").exists():
                made.stop("immediate")
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _program(name: str) -> str:
    found = shutil.which(name)
    there = sorted(Path("/usr/lib/postgresql").glob(f"*/bin/{name}"))
    if found is None and not there:
        raise RuntimeError(f"{name} isn't installed: run tools/setup dev, or apt-get install postgresql")  # noqa: TRY003
    return found or str(there[-1])


def _run(*command: str) -> None:
    as_user = ["runuser", "-u", _USER, "--"] if os.geteuid() == 0 else []
    done = subprocess.run(
        [*as_user, *command], cwd="/", check=False, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True
    )
    if done.returncode:
        raise RuntimeError(f"{command}: {done.stderr}")  # noqa: TRY003
