"""Units that let the system start the service."""

import plistlib
from pathlib import PurePosixPath, PureWindowsPath
from xml.etree import ElementTree as ET

import pytest

from daemon import unit_files

PROGRAM = PurePosixPath("/srv/my envs/100%/bin/coilwatch")
SETTINGS = PurePosixPath("/srv/pot & kiln/coilwatch.toml")
DATA = PurePosixPath("/srv/pot & kiln/data")


def test_the_systemd_unit_quotes_paths_and_lets_the_service_be_watched():
    text = unit_files.unit("systemd", PROGRAM, SETTINGS, DATA)
    assert 'ExecStart="/srv/my envs/100%%/bin/coilwatch" start --settings "/srv/pot & kiln/coilwatch.toml"' in text
    for line in ("Type=notify", "Restart=on-failure", "WatchdogSec=300", "WantedBy=default.target"):
        assert line in text.splitlines()


def test_the_launchd_unit_starts_again_only_after_a_failure():
    unit = plistlib.loads(unit_files.unit("launchd", PROGRAM, SETTINGS, DATA).encode())
    assert unit["ProgramArguments"] == [str(PROGRAM), "start", "--settings", str(SETTINGS)]
    assert unit["KeepAlive"] == {"SuccessfulExit": False}


def test_the_task_has_no_time_limit_and_escapes_what_xml_would_take_amiss():
    program, settings = (
        PureWindowsPath(r"C:\Pots & Kilns\coilwatch.exe"),
        PureWindowsPath(r"C:\Pots & Kilns\coilwatch.toml"),
    )
    text = unit_files.unit("task-scheduler", program, settings, DATA)
    task = ET.fromstring(text.split("\n", 1)[1])
    space = "{http://schemas.microsoft.com/windows/2004/02/mit/task}"
    assert task.find(f".//{space}ExecutionTimeLimit").text == "PT0S"
    assert task.find(f".//{space}Command").text == str(program)
    assert task.find(f".//{space}Arguments").text == f'start --settings "{settings}"'


@pytest.mark.parametrize("system", ["systemd", "launchd", "task-scheduler"])
def test_the_person_is_told_how_to_switch_it_on(system):
    place = unit_files.place(system, PurePosixPath("/srv/pat"))
    assert unit_files.next_steps(system, place)
