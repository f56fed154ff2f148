"""desk.toml: what it may say, and how a fault in it is told."""

import pytest

from wideroll.errors import InputError
from wideroll.people import DESK_FILE, DeskFile, Lengths, read_desk_file

_PROVIDER = '[oidc]\nissuer = "https://accounts.example"\nclient_id = "desk"\nsecret_file = "provider.key"\n'


@pytest.fixture
def read(tmp_path):
    """What a text as desk.toml says."""

    def of(text):
        (tmp_path / DESK_FILE).write_text(text)
        return read_desk_file(tmp_path)

    return of


def test_without_the_file_the_desk_is_for_this_machine_alone(tmp_path):
    """The defaults: loopback, eight and twenty-four hours, no provider."""
    rules = read_desk_file(tmp_path)
    assert rules == DeskFile()
    assert rules.loopback
    assert not rules.https
    assert rules.lengths == Lengths(idle_s=8 * 3600, whole_s=24 * 3600)


def test_what_it_says_is_taken(read):
    """Each field comes through in the unit its name says."""
    rules = read(
        'listen = "0.0.0.0"\nhosts = ["desk.plant.example"]\nbehind_https = true\nform_kb = 64\nupload_mb = 2\n'
        'zone = "Europe/Vienna"\n'
        "[sessions]\nidle_hours = 2\nlongest_hours = 9.5\n[password]\nrounds = 4\nmemory_mib = 128\nthreads = 2\n"
        + _PROVIDER
        + 'scopes = ["groups"]\n[oidc.roles]\nrelease = "engineer"\n'
    )
    assert (rules.loopback, rules.https, rules.hosts) == (False, True, ("desk.plant.example",))
    assert (rules.form_bytes, rules.upload_bytes) == (65536, 2 * 1024 * 1024)
    assert rules.lengths == Lengths(idle_s=7200, whole_s=34200)
    assert (rules.cost.rounds, rules.cost.memory_kib, rules.cost.threads) == (4, 131072, 2)
    assert rules.zone == "Europe/Vienna"
    assert rules.provider.roles == {"release": "engineer"}
    assert rules.provider.scopes == ("groups",)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("listen = ", "the file must be TOML"),
        ('zone = "Vienna"', "zone: must be the name of a time zone that this machine knows"),
        ('zone = "../Vienna"', "zone: must be the name of a time zone"),
        ('zone = ""', "zone: must be the name of a time zone"),
        ("zone = 1", "zone: must be text in quotes"),
        ('listen = "everywhere"', "listen: must be an address of this machine"),
        ("listen = 1", "listen: must be text in quotes"),
        ('hosts = "one"', "hosts: must be a list of texts"),
        ("https = true", "https: there is no such field"),
        ('behind_https = "yes"', "behind_https: must be true or false"),
        ('certificate = "a.pem"', "a certificate and its key go together"),
        ("upload_mb = 0", "upload_mb: must be a number from 1 to 4096"),
        ("upload_mb = true", "upload_mb: must be a number"),
        ("sessions = 8", "sessions: must be a table"),
        ("[sessions]\nidle_hours = 0", "idle_hours: must be a number from 0.1 to 168"),
        ("[sessions]\nhours = 8", "sessions.hours: there is no such field"),
        ("[password]\nmemory_mib = 1", "memory_mib: must be a number from 8"),
        ('[oidc]\nissuer = "https://a.example"', "roles: must say which value gives which role"),
        (_PROVIDER.replace("https", "http") + '[oidc.roles]\na = "reader"', "issuer: must be an https address"),
        (_PROVIDER.replace("accounts.example", "a.example/?x") + '[oidc.roles]\na = "reader"', "must be an https"),
        (_PROVIDER + '[oidc.roles]\na = "king"', "oidc.roles.a: must be one of"),
        ('[oidc]\nissuer = "https://a.example"\n[oidc.roles]\na = "reader"', "client_id: the field must be there"),
    ],
)
def test_a_fault_is_told_with_its_field(read, text, words):
    """The error names the file, the field and the rule."""
    with pytest.raises(InputError) as caught:
        read(text)
    assert DESK_FILE in str(caught.value)
    assert words in str(caught.value)
