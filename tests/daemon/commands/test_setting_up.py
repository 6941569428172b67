"""Asking for the settings."""

from config.settings import load
from daemon import setting_up
from daemon.setting_up import Answers


def answering(*said: str):
    left = iter(said)
    return lambda question: next(left)


def test_empty_answers_keep_what_is_shown_and_make_usable_settings(tmp_path):
    answers = setting_up.ask(Answers(), answering(*[""] * 11))
    (tmp_path / "coilwatch.toml").write_text(setting_up.settings_text(answers), encoding="utf-8")
    settings = load(tmp_path / "coilwatch.toml")
    assert [kiln.id for kiln in settings.kilns] == ["kiln-1"]
    assert settings.kilns[0].volts is None


def test_what_is_answered_stands_in_the_settings(tmp_path):
    said = ['Tide"wrack', "Europe/Dublin", "F", "0,34", "in box"]
    said += ["juniper, heron", "about 400", "400", "18,5", "three-phase delta", "top, bottom", "F"]
    answers = setting_up.ask(Answers(), answering(*said))
    (tmp_path / "coilwatch.toml").write_text(setting_up.settings_text(answers), encoding="utf-8")
    settings = load(tmp_path / "coilwatch.toml")
    juniper, heron = settings.kilns
    assert (juniper.volts, juniper.rated_kw, juniper.zones) == (400.0, 18.5, ("top", "bottom"))
    assert (juniper.supply, juniper.log.temperature_unit) == ("three-phase delta", "F")
    assert (heron.volts, heron.log.temperature_unit) == (None, None)
    assert settings.studio.energy_price == 0.34
    assert (settings.studio.name, settings.folders.drop) == ('Tide"wrack', tmp_path / "in box")


def test_every_line_that_is_commented_out_can_be_put_in_as_it_stands(tmp_path):
    lines = setting_up.settings_text(Answers(kilns=("juniper",), zones=("top",))).splitlines()
    for key in (
        "energy_price",
        "quiet_from",
        "quiet_to",
        "digest_day",
        "settle_s",
        "watch",
        "volts",
        "supply",
        "rated_kw",
    ):
        lines = [line.removeprefix("# ") if line.startswith(f"# {key} =") else line for line in lines]
    for key in ("volume_l", "max_temp_c", "thermocouple", "element_price", "temperature_unit", "patterns", "elements"):
        lines = [line.removeprefix("# ") if line.startswith(f"# {key} =") else line for line in lines]
    for key in ("[[kiln.circuit]]", "name = ", "zone = ", "wiring = ", "element_ohm = "):
        at = max(number for number, line in enumerate(lines) if line.startswith(f"# {key}"))
        lines[at] = lines[at].removeprefix("# ")
    (tmp_path / "coilwatch.toml").write_text("\n".join(lines), encoding="utf-8")
    assert load(tmp_path / "coilwatch.toml").kilns[0].circuits[0].element_ohm == (27.4, 27.4)
