"""Only what changed is read again, and everything that changed is noticed."""

import os
import time
from hashlib import blake2b, sha256

import pytest

from wideroll.errors import InputError
from wideroll.store import InputHashes, fingerprint, hash_file, hash_twice, read_json


@pytest.fixture
def reads(monkeypatch):
    """The names of the files that are read through, in order."""
    names = []

    def counted(path):
        names.append(path.name)
        return hash_twice(path)

    monkeypatch.setattr("wideroll.store.hashes.hash_twice", counted)
    return names


@pytest.fixture
def files(tmp_path):
    """Two settled files of a roll."""
    paths = [tmp_path / "plant" / "rolls" / name for name in ("a.tif", "b.csv")]
    paths[0].parent.mkdir(parents=True)
    for path in paths:
        _put(path, path.name.encode())
    return paths


@pytest.fixture
def hashes(files):
    """Their hashes."""
    return _hashes(files[0].parents[1])


def _hashes(plant):
    return InputHashes(root=plant, cache=plant / "results" / "4711" / "inputs.json")


def _put(file, data, age_s=60):
    file.write_bytes(data)
    at = time.time_ns() - age_s * 10**9
    os.utime(file, ns=(at, at))


def _content_hash(data):
    return blake2b(data, digest_size=32).hexdigest()


def test_the_hash_is_that_of_the_content(tmp_path):
    """Files larger than one piece hash as their bytes do."""
    data = bytes(range(256)) * 9000
    (tmp_path / "x").write_bytes(data)
    assert hash_file(tmp_path / "x") == _content_hash(data)


def test_both_hashes_come_from_one_reading(files, hashes, reads):
    """SHA-256, by which the record names a file, is remembered beside the other and costs no second reading."""
    first = hashes.both(files)
    assert first["rolls/a.tif"] == (_content_hash(b"a.tif"), sha256(b"a.tif").hexdigest())
    assert hashes.both(files) == first
    assert reads == ["a.tif", "b.csv"]


def test_a_second_look_reads_nothing(files, hashes, reads):
    """Unchanged files are not read through again, and the cache isn't written again."""
    first = hashes.of(files)
    assert first == {"rolls/a.tif": _content_hash(b"a.tif"), "rolls/b.csv": _content_hash(b"b.csv")}
    assert tuple(first) == hashes.names(files)
    written = hashes.cache.stat().st_mtime_ns
    assert hashes.of(files) == first
    assert reads == ["a.tif", "b.csv"]
    assert hashes.cache.stat().st_mtime_ns == written


@pytest.mark.parametrize(("data", "age_s"), [(b"A.TIF", 61), (b"longer", 60)])
def test_a_changed_file_is_read_again(files, hashes, reads, data, age_s):
    """Another size or another time of change means another look."""
    before = hashes.of(files)
    _put(files[0], data, age_s=age_s)
    after = hashes.of(files)
    assert after["rolls/a.tif"] == _content_hash(data)
    assert after["rolls/b.csv"] == before["rolls/b.csv"]
    assert reads == ["a.tif", "b.csv", "a.tif"]


def test_a_file_still_warm_is_not_remembered(files, hashes, reads):
    """A file changed just now could change again within the same tick of the clock, so it is read each time."""
    files[0].write_bytes(b"warm")
    hashes.of(files)
    hashes.of(files)
    assert reads == ["a.tif", "b.csv", "a.tif"]


def test_the_cache_moves_with_the_plant_and_forgets_what_is_gone(files, hashes, reads, tmp_path):
    """The cache holds no absolute paths; a file that is gone leaves it."""
    hashes.of(files)
    moved = tmp_path / "moved"
    (tmp_path / "plant").rename(moved)
    hashes = _hashes(moved)
    hashes.of([moved / "rolls" / "a.tif"])
    assert reads == ["a.tif", "b.csv"]
    (moved / "rolls" / "b.csv").unlink()
    hashes.of([moved / "rolls" / "a.tif"])
    assert list(read_json(hashes.cache)) == ["rolls/a.tif"]


@pytest.mark.parametrize("damage", [b"", b"[]", b'{"rolls/a.tif": {"size": 5}}', b'{"rolls/a.tif": 3}'])
def test_a_damaged_cache_is_made_anew(files, hashes, damage):
    """A truncated or foreign cache costs a second reading, nothing else."""
    first = hashes.of(files)
    sound = hashes.cache.read_bytes()
    hashes.cache.write_bytes(damage)
    assert hashes.of(files) == first
    assert hashes.cache.read_bytes() == sound


def test_a_missing_input_is_named(files, hashes):
    """An input that isn't there is one clear error."""
    with pytest.raises(InputError, match=r"no.tif: the input file must be there"):
        hashes.of([*files, files[0].with_name("no.tif")])


def test_a_fingerprint_depends_on_each_part_and_not_on_their_order():
    """Another name, another value or another part is another fingerprint."""
    base = fingerprint({"scan": "1", "version": "2"})
    assert fingerprint({"version": "2", "scan": "1"}) == base
    others = [
        {"scan": "1"},
        {"scan": "1", "version": "3"},
        {"scan": "2", "version": "1"},
        {"scan": "12", "version": ""},
    ]
    assert len({base, *(fingerprint(parts) for parts in others)}) == 5
