"""What coilwatch.toml may say, and what is said back when it cannot be used."""

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from config.settings import SettingsError, load
from config.settings_place import places

EXAMPLE = """\
[studio]
name = "Tidewrack Clay Studio"
time_zone = "Europe/Dublin"
energy_price = 0.34
[folders]
drop = "drop"
data = "data"
[[kiln]]
id = "juniper"
patterns = ["juniper-*.csv"]
volts = 240.0
supply = "single-phase"
rated_kw = 9.6
thermocouple = "K"
zones = ["top", "middle", "bottom"]
[kiln.log]
temperature_unit = "C"
[[kiln.circuit]]
name = "top"
zone = "top"
elements = 2
wiring = "parallel"
element_ohm = 27.4
line = "L1-L2"
"""


@pytest.fixture(autouse=True)
def _no_settings_in_the_environment(monkeypatch):
    monkeypatch.delenv("COILWATCH_SETTINGS", raising=False)
    monkeypatch.delenv("CREDENTIALS_DIRECTORY", raising=False)


def write(folder: Path, text: str | bytes) -> Path:
    file = folder / "coilwatch.toml"
    file.write_bytes(text.encode() if isinstance(text, str) else text)
    return file


def refusal(folder: Path, text: str | bytes) -> str:
    with pytest.raises(SettingsError) as refused:
        load(write(folder, text))
    return str(refused.value).replace(str(folder), "")


def test_the_example_of_the_contract_is_read_into_plain_kilns(tmp_path):
    settings = load(write(tmp_path, EXAMPLE))
    kiln = settings.kiln("juniper")
    assert (kiln.volts, kiln.zones, kiln.log.temperature_unit) == (240.0, ("top", "middle", "bottom"), "C")
    assert kiln.circuits[0].element_ohm == (27.4, 27.4)
    assert kiln.time_zone == "Europe/Dublin"
    assert settings.folders.drop == tmp_path / "drop"


def test_only_the_id_of_a_kiln_is_needed(tmp_path):
    assert load(write(tmp_path, '[[kiln]]\nid = "heron"\n')).kilns[0].title == "heron"


def test_an_empty_file_is_a_studio_without_kilns(tmp_path):
    assert load(write(tmp_path, "")).kilns == ()


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16"])
def test_what_a_plain_text_editor_adds_at_the_start_is_tolerated(tmp_path, encoding):
    assert load(write(tmp_path, EXAMPLE.encode(encoding))).studio.name == "Tidewrack Clay Studio"


def test_a_missing_file_names_the_command_that_writes_one(tmp_path):
    with pytest.raises(SettingsError, match="coilwatch setup"):
        load(tmp_path / "nowhere.toml")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            '[[kiln]]\nid = "a"\nvolt = 3',
            """/coilwatch.toml:3: kiln "a", volt: there is no such setting. Did you mean 'volts'?""",
        ),
        ("[fodlers]\ndrop = 'x'", "/coilwatch.toml:1: fodlers: there is no such setting. Did you mean 'folders'?"),
        ('[[kiln]]\nid = "a"\nvolts = "hot"', '/coilwatch.toml:3: kiln "a", volts: '),
        ('[[kiln]]\nid = "a"\nvolts = -3', "nameplate volts, for example 240.0"),
        ('[[kiln]]\nname = "a"', '/coilwatch.toml:1: kiln "a", id: is missing.'),
        (
            '[studio]\ntime_zone = "Europe/Dubln"',
            "/coilwatch.toml:2: studio, time_zone: 'Europe/Dubln' is no time zone",
        ),
        ("[studio]\nname = Tide", "/coilwatch.toml:2: this is not TOML"),
        ("studio = 3", "/coilwatch.toml:1: studio: should be a table of its own, written [studio]."),
        (b"[studio]\n\nname = 'T\xf6pferei'", "/coilwatch.toml:3: the text is not UTF-8."),
        ('[[kiln]]\nid = "a"\n[[kiln]]\nid = "A"', "two kilns have this id"),
        ('[[kiln]]\nid = "../x"', '/coilwatch.toml:2: kiln "../x", id: '),
        (
            '[[kiln]]\nid="a"\nzones=["t"]\n[[kiln.circuit]]\nname="x"\nzone="b"',
            "circuit 'x' heats zone 'b', which is none of",
        ),
        ('[[kiln]]\nid="a"\n[[kiln.circuit]]\nname="x"\nelements=3\nelement_ohm=[1,2]', "2 values for 3 elements"),
        (
            '[[kiln]]\nid="a"\nsupply="three-phase delta"\n[[kiln.circuit]]\nname="x"\nline="L1-N"',
            "does not fit three-phase delta",
        ),
        ("[service]\nsettle_s = nan", "/coilwatch.toml:2: service, settle_s: "),
        ("[folders]\ndrop = 'x'\ndata = './x'", "/coilwatch.toml:3: folders, data: is the drop folder itself."),
        ('[folders]\ndrop = "a\\u0000b"', "/coilwatch.toml:2: folders, drop: "),
        ("[folders]\ndrop = '~no-such-person/x'", "Write the whole path."),
        ("[alerts]\nquiet_from = 22:00:00", "quiet_to"),
    ],
)
def test_a_fault_is_named_with_file_line_field_and_remedy(tmp_path, text, said):
    assert said in refusal(tmp_path, text)


def test_several_faults_are_named_at_once_one_a_line(tmp_path):
    said = refusal(tmp_path, '[[kiln]]\nid = "a"\nvolts = "x"\nrated_kw = "y"\n')
    assert [line.split(":")[1] for line in said.splitlines()] == ["3", "4"]


def test_a_secret_written_with_a_plain_text_editor_of_windows_is_read(tmp_path):
    (tmp_path / "coilwatch.toml").write_text('[[kiln]]\nid = "heron"\n', encoding="utf-8")
    (tmp_path / "secrets").mkdir()
    (tmp_path / "secrets/alerts__targets__phone.txt").write_text("json://one\r\n", encoding="utf-8-sig")
    (tmp_path / "secrets/alerts__targets__mail.TXT").write_text("json://two\r\n", encoding="utf-16")
    settings = load(tmp_path / "coilwatch.toml")
    assert sorted(settings.alerts.targets) == ["mail", "phone"]
    assert sorted(settings.secrets()) == ["json://one", "json://two"]


def test_a_windows_path_in_double_quotes_is_explained(tmp_path):
    file = tmp_path / "coilwatch.toml"
    file.write_text('[folders]\ndrop = "C:\\Users\\pat\\drop"\n', encoding="utf-8")
    with pytest.raises(SettingsError, match=r"coilwatch\.toml:2: .*single quotes"):
        load(file)


def test_targets_come_from_the_secrets_folder_and_the_environment_wins(tmp_path, monkeypatch):
    (tmp_path / "secrets").mkdir()
    (tmp_path / "secrets/alerts__targets__phone").write_text("json://from-the-folder\n", encoding="utf-8-sig")
    (tmp_path / "secrets/alerts__targets__mail").write_text("json://mail\n")
    (tmp_path / "secrets/README").write_text("what is here")
    monkeypatch.setenv("COILWATCH_ALERTS__TARGETS__PHONE", "json://from-the-environment")
    settings = load(write(tmp_path, EXAMPLE))
    assert settings.alerts.targets["phone"].get_secret_value() == "json://from-the-environment"
    assert settings.alerts.targets["mail"].get_secret_value() == "json://mail"
    assert sorted(settings.secrets()) == ["json://from-the-environment", "json://mail"]


def test_credentials_given_by_systemd_are_read_too(tmp_path, monkeypatch):
    (tmp_path / "given").mkdir()
    (tmp_path / "given/alerts__targets__phone").write_text("json://given")
    monkeypatch.setenv("CREDENTIALS_DIRECTORY", str(tmp_path / "given"))
    assert load(write(tmp_path, EXAMPLE)).alerts.targets["phone"].get_secret_value() == "json://given"


@pytest.mark.parametrize("variable", ["COILWATCH_ALRTS__TARGETS__PHONE", "COILWATCH_ALERTS__TRAGETS__PHONE"])
def test_a_mistyped_variable_is_not_overlooked(tmp_path, monkeypatch, variable):
    monkeypatch.setenv(variable, "json://hush-hush-7")
    said = refusal(tmp_path, EXAMPLE)
    assert "there is no such setting. Did you mean" in said
    assert "hush-hush-7" not in said


@pytest.mark.parametrize(
    "text",
    [
        '[alerts.targets]\nphone = "hush-hush-7"',
        '[alerts]\ntagrets = "json://hush-hush-7"',
        '[alerts.targets]\n"Bad Label!" = "json://hush-hush-7"',
        '[service]\nheartbeat_url = ["hush-hush-7"]',
        '[alerts.targets]\nphone = "json://hush-hush-7\n',
        '[service]\nheartbeat_url = "file:///hush-hush-7"',
    ],
)
def test_a_secret_is_never_part_of_a_message(tmp_path, text):
    assert "hush" not in refusal(tmp_path, text)


def test_a_secret_is_never_shown_by_the_settings_themselves(tmp_path):
    settings = load(write(tmp_path, '[alerts.targets]\nphone = "json://hush-hush-7"\n'))
    assert "hush" not in repr(settings)
    assert "hush" not in str(settings)


def test_the_settings_file_can_be_named_by_the_environment(tmp_path, monkeypatch):
    monkeypatch.setenv("COILWATCH_SETTINGS", str(write(tmp_path, EXAMPLE)))
    assert load().studio.name == "Tidewrack Clay Studio"


def test_an_unknown_kiln_is_answered_with_those_known(tmp_path):
    with pytest.raises(KeyError, match="known: juniper"):
        load(write(tmp_path, EXAMPLE)).kiln("heron")


def test_the_line_of_each_table_and_key_is_found():
    found = places(EXAMPLE)
    assert found["kiln", 0, "volts"] == 11
    assert found["kiln", 0, "circuit", 0, "elements"] == 21
    assert found["kiln", 0, "log", "temperature_unit"] == 17


@settings(max_examples=40, deadline=None)
@given(st.text(max_size=200))
def test_any_text_is_settings_or_one_message(tmp_path_factory, text):
    file = tmp_path_factory.mktemp("any") / "coilwatch.toml"
    file.write_text(text, encoding="utf-8", errors="surrogatepass")
    said = None
    try:
        load(file)
    except SettingsError as refused:
        said = str(refused)
    assert said is None or said.startswith(str(file))
