"""Units that let the system start the service."""

import os
import plistlib
import shutil
import subprocess
import sys
from pathlib import PurePosixPath, PureWindowsPath
from xml.etree import ElementTree as ET

import pytest

from daemon import unit_files

PROGRAM = PurePosixPath("/srv/my envs/100%/bin/coilwatch")
SETTINGS = PurePosixPath("/srv/pot & kiln/coilwatch.toml")
DATA = PurePosixPath("/srv/pot & kiln/data")
SPACE = "{http://schemas.microsoft.com/windows/2004/02/mit/task}"


def test_the_systemd_unit_quotes_paths_and_lets_the_service_be_watched():
    text = unit_files.unit("systemd", PROGRAM, SETTINGS, DATA, "pat")
    assert 'ExecStart="/srv/my envs/100%%/bin/coilwatch" start --settings "/srv/pot & kiln/coilwatch.toml"' in text
    for line in ("Type=notify", "Restart=on-failure", "WatchdogSec=300", "WantedBy=default.target"):
        assert line in text.splitlines()


def test_the_launchd_unit_starts_again_only_after_a_failure():
    unit = plistlib.loads(unit_files.unit("launchd", PROGRAM, SETTINGS, DATA, "pat").encode())
    assert unit["ProgramArguments"] == [str(PROGRAM), "start", "--settings", str(SETTINGS)]
    assert unit["KeepAlive"] == {"SuccessfulExit": False}


def task(program: PureWindowsPath, settings: PureWindowsPath, person: str = "POTTERY\\pat") -> ET.Element:
    text = unit_files.unit("task-scheduler", program, settings, settings.parent / "data", person)
    return ET.fromstring(text.split("\n", 1)[1])


def test_the_task_has_no_time_limit_and_escapes_what_xml_would_take_amiss():
    program = PureWindowsPath(r"C:\Pots & Kilns\coilwatch.exe")
    settings = PureWindowsPath(r"C:\Pots & Kilns\coilwatch.toml")
    made = task(program, settings)
    assert made.findtext(f".//{SPACE}ExecutionTimeLimit") == "PT0S"
    assert made.findtext(f".//{SPACE}Command") == str(program)
    assert made.findtext(f".//{SPACE}Arguments") == f'start --settings "{settings}"'


def test_the_task_is_one_account_s_own_so_that_no_administrator_is_needed():
    """[MS-TSCH], adding a task: of a person without these rights, a logon trigger that names nobody is refused."""
    made = task(PureWindowsPath(r"C:\kiln\coilwatch.exe"), PureWindowsPath(r"C:\kiln\coilwatch.toml"))
    assert made.findtext(f"./{SPACE}Triggers/{SPACE}LogonTrigger/{SPACE}UserId") == "POTTERY\\pat"
    principal = made.find(f"./{SPACE}Principals/{SPACE}Principal")
    assert principal.findtext(f"{SPACE}UserId") == "POTTERY\\pat"
    assert principal.findtext(f"{SPACE}RunLevel") == "LeastPrivilege"
    assert made.find(f"./{SPACE}Actions").get("Context") == principal.get("id")


def test_the_task_starts_again_as_often_as_the_scheduler_s_schema_allows():
    """Task Scheduler schema, restartType: Count is an unsigned byte from 1, Interval at least a minute."""
    made = task(PureWindowsPath(r"C:\kiln\coilwatch.exe"), PureWindowsPath(r"C:\kiln\coilwatch.toml"))
    again = made.find(f".//{SPACE}RestartOnFailure")
    assert (again.findtext(f"{SPACE}Interval"), again.findtext(f"{SPACE}Count")) == ("PT1M", "255")


def test_the_windowless_interpreter_is_given_our_module():
    settings = PureWindowsPath(r"C:\kiln\coilwatch.toml")
    made = task(PureWindowsPath(r"C:\kiln\.venv\Scripts\pythonw.exe"), settings)
    assert made.findtext(f".//{SPACE}Arguments") == f'-P -m daemon.main start --settings "{settings}"'


def test_the_module_starts_as_the_task_would_start_it_without_a_window(tmp_path):
    """The task's own command, with the streams a windowless interpreter has: none."""
    (tmp_path / "coilwatch.toml").write_text('[[kiln]]\nid = "heron"\n', encoding="utf-8")
    (tmp_path / "drop").mkdir()
    (tmp_path / "daemon").mkdir()  # a folder of our package's name beside the settings must not be taken for it
    code = (
        "import runpy, sys; sys.stdin = sys.stdout = sys.stderr = None; "
        "sys.argv = ['main', 'start', '--once', '--settings', 'coilwatch.toml']; "
        "runpy.run_module('daemon.main', run_name='__main__')"
    )
    ran = subprocess.run([sys.executable, "-P", "-c", code], cwd=tmp_path, timeout=60, check=False)
    assert ran.returncode == 0
    assert (tmp_path / "data" / "reports" / "index.html").exists()


@pytest.mark.parametrize("system", ["systemd", "launchd", "task-scheduler"])
def test_the_person_is_told_how_to_switch_it_on_and_off(system):
    place = unit_files.place(system, PurePosixPath("/srv/pat"))
    assert unit_files.next_steps(system, place)
    assert unit_files.last_steps(system)


@pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="systemd is not installed")
def test_systemd_itself_finds_nothing_wrong_with_the_unit(tmp_path):
    program = tmp_path / "my envs 100%" / "coilwatch"
    program.parent.mkdir()
    program.write_text("#!/bin/sh\n", encoding="utf-8")
    program.chmod(0o755)
    unit = tmp_path / "coilwatch.service"
    unit.write_text(unit_files.unit("systemd", program, tmp_path / "coilwatch.toml", tmp_path, "pat"), encoding="utf-8")
    said = subprocess.run(
        ["systemd-analyze", "verify", "--user", str(unit)],
        env=os.environ | {"XDG_RUNTIME_DIR": str(tmp_path)}, capture_output=True, text=True, timeout=30, check=False,
    )  # fmt: skip
    assert (said.returncode, said.stderr) == (0, "")
