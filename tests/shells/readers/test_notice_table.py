"""``[[notices]]`` of plant.toml: read as written, and each fault told with its field."""

import pytest

from wideroll.errors import InputError
from wideroll.readers import PlantFolder
from wideroll.workflow import FileNotice, MqttNotice, WebhookNotice

HEAD = 'name = "Little Mere, line 1"\nweb_width = "1.4 m"\ndatum_edge = "drive side"\n'
FILE = 'kind = "file"\npath = "notices/cards.jsonl"\n'
WEBHOOK = 'kind = "webhook"\nurl = "https://desk.example:8443/hook/7"\n'
MQTT = 'kind = "mqtt"\nhost = "bus.example"\ntopic = "coating/line-1/cards/{roll}"\n'


@pytest.fixture
def read(tmp_path):
    """Read the notices of a plant from their tables, the names given one after the other."""

    def read(*tables):
        parts = [f'[[notices]]\nname = "N{number}"\n{table}' for number, table in enumerate(tables, 1)]
        (tmp_path / "plant.toml").write_text("\n".join([HEAD, *parts]))
        return PlantFolder(tmp_path).plant().notices

    return read


def test_a_plant_needs_no_notices(read):
    """Without the table there are none."""
    assert read() == ()


def test_each_kind_is_read_with_its_defaults(read):
    """A notice of each kind, in the order of the file, with what it leaves out filled in."""
    assert read(FILE, WEBHOOK, MQTT) == (
        FileNotice(name="N1", path="notices/cards.jsonl"),
        WebhookNotice(name="N2", url="https://desk.example:8443/hook/7", timeout_s=5.0),
        MqttNotice(name="N3", host="bus.example", port=1883, topic="coating/line-1/cards/{roll}", qos=1, version="5"),
    )


def test_each_field_is_read(read):
    """What a notice says is taken as it stands."""
    webhook = WEBHOOK + 'secret_file = "desk.key"\nca_file = "ca.pem"\ntimeout_s = 2\n'
    mqtt = (
        MQTT + "qos = 0\nretain = true\ntls = true\nport = 8884\n"
        'version = "3.1.1"\nca_file = "/certificates/ca.pem"\nusername = "line"\npassword_file = "bus.key"\n'
        'client_id = "wideroll-1"\ntimeout_s = 2.5\n'
    )
    first, second = read(webhook, mqtt)
    assert (first.secret_file, first.ca_file, first.timeout_s) == ("desk.key", "ca.pem", 2.0)
    assert (second.qos, second.retain, second.tls, second.port, second.version) == (0, True, True, 8884, "3.1.1")
    assert (second.username, second.password_file, second.client_id) == ("line", "bus.key", "wideroll-1")
    assert second.ca_file == "/certificates/ca.pem"


def test_tls_has_a_port_of_its_own(read):
    """A broker with TLS is looked for at 8883 unless the file says where."""
    assert read(MQTT + "tls = true\n")[0].port == 8883


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ('kind = "pager"\n', r"field notices\.1\.kind: must be 'file', 'webhook' or 'mqtt', got 'pager'"),
        ('path = "cards.jsonl"\n', r"field notices\.1\.kind: the field must be there"),
        ('kind = "file"\n', r"notice N1, path: a notice of kind file needs it"),
        ('kind = "webhook"\n', r"notice N1, url: a notice of kind webhook needs it"),
        ('kind = "mqtt"\nhost = "bus"\n', r"notice N1, topic: a notice of kind mqtt needs it"),
        (FILE + "qos = 1\n", r"notice N1, qos: a notice of kind file has no such field"),
        (FILE + 'folder = "x"\n', r"field notices\.1\.folder: the file has no such field"),
        (WEBHOOK + 'secret = "hush"\n', r"field notices\.1\.secret: the file has no such field"),
        (MQTT + "qos = 2\n", r"field notices\.1\.qos: must be 0 or 1, got 2"),
        (MQTT + "port = 0\n", r"field notices\.1\.port: .*got 0"),
        (MQTT + "port = 65536\n", r"field notices\.1\.port: .*got 65536"),
        (MQTT + "port = true\n", r"field notices\.1\.port"),
        (MQTT + 'version = "4"\n', r"field notices\.1\.version"),
        (MQTT + "timeout_s = 0\n", r"field notices\.1\.timeout_s"),
        (MQTT + "timeout_s = 61\n", r"field notices\.1\.timeout_s"),
        (MQTT + 'password_file = "bus.key"\n', r"notice N1, username: a password needs it"),
        (MQTT + 'ca_file = "ca.pem"\n', r"notice N1, ca_file: certificates are for TLS"),
        (WEBHOOK.replace("https", "http") + 'ca_file = "ca.pem"\n', r"notice N1, ca_file: certificates are for https"),
    ],
)
def test_a_fault_is_told_with_its_field(read, table, said):
    """An unknown kind, a missing, strange or impossible field is one error that names it."""
    with pytest.raises(InputError, match=said):
        read(table)


@pytest.mark.parametrize(
    "url",
    [
        *("ftp://desk.example/", "desk.example/hook", "https:///hook", "https://", "file:///etc/passwd"),
        *("https://desk.example:0/", "https://desk.example:65536/", "https://desk.example:port/", "https://[::1/"),
        *("https://desk.example/a b", "https://désk.example/", "https://desk.example/#part"),
    ],
)
def test_a_url_is_http_or_https(read, url):
    """Anything else is refused with the notice's name and a mend."""
    with pytest.raises(InputError, match=r"notice N1, url: must .*\. (Write it as|Sign the cards)"):
        read(f'kind = "webhook"\nurl = "{url}"\n')


@pytest.mark.parametrize("scheme", ["https", "ftp"])
def test_a_password_in_a_url_is_refused_unshown(read, scheme):
    """plant.toml holds no secrets, and the error that says so doesn't repeat one."""
    with pytest.raises(InputError, match="notice N1, url: must") as caught:
        read(f'kind = "webhook"\nurl = "{scheme}://line:sesame@desk.example/"\n')
    assert "sesame" not in str(caught.value)


@pytest.mark.parametrize("topic", ["cards/#", "+/cards", "$SYS/cards", "cards/{line}", "cards/{roll", "a\\u0000b"])
def test_a_topic_is_one_topic(read, topic):
    """Wildcards, the broker's own topics, control signs and braces other than {roll} are refused."""
    with pytest.raises(InputError, match="notice N1, topic: "):
        read(f'kind = "mqtt"\nhost = "bus"\ntopic = "{topic}"\n')


@pytest.mark.parametrize("host", ["bus.example/x", "mqtt://bus", "line@bus", "bus example"])
def test_a_host_is_a_host_alone(read, host):
    """Scheme, user and path don't belong into it."""
    with pytest.raises(InputError, match="notice N1, host: must be a name or an address alone"):
        read(f'kind = "mqtt"\nhost = "{host}"\ntopic = "cards"\n')


@pytest.mark.parametrize(
    "path",
    [
        *("/tmp/cards.jsonl", "../cards.jsonl", "a/../../cards.jsonl", "a\\\\cards.jsonl", ".jsonl", "plant.toml"),  # noqa: S108
        *("wideroll.db", "rolls/W-1/scan/cards.jsonl", "./products/cards.jsonl", "cards-{day}.jsonl"),
    ],
)
def test_a_file_lies_in_the_plant_and_is_no_evidence(read, path):
    """Cards never overwrite a file of the plant or land among its evidence."""
    with pytest.raises(InputError, match="notice N1, path: "):
        read(f'kind = "file"\npath = "{path}"\n')


def test_a_name_is_given_once(tmp_path):
    """Two notices of one name couldn't be told apart in an error."""
    tables = f'[[notices]]\nname = "N"\n{FILE}\n' * 2
    (tmp_path / "plant.toml").write_text(HEAD + tables)
    with pytest.raises(InputError, match="notices: each name is given once, got 'N'"):
        PlantFolder(tmp_path).plant()
