"""Letting the system start the service: unit files for systemd (user), launchd and the Windows Task Scheduler."""

import plistlib
import shlex
import sys
from pathlib import Path, PurePath
from typing import Literal
from xml.sax.saxutils import escape

System = Literal["systemd", "launchd", "task-scheduler"]
LABEL = "coilwatch"


def this_system() -> System:
    """Return the starter of the system this program runs on."""
    if sys.platform == "win32":
        return "task-scheduler"
    return "launchd" if sys.platform == "darwin" else "systemd"


def place(system: System, home: Path) -> Path:
    """Return where the unit belongs, for a person without administrator's rights."""
    match system:
        case "systemd":
            return home / ".config" / "systemd" / "user" / f"{LABEL}.service"
        case "launchd":
            return home / "Library" / "LaunchAgents" / f"local.{LABEL}.plist"
        case "task-scheduler":
            return home / f"{LABEL}-task.xml"


def unit(system: System, program: PurePath, settings: PurePath, data: PurePath, person: str) -> str:
    """Return the text of the unit that runs ``program start --settings settings``; all paths absolute.

    ``person`` is the account that starts it (Task Scheduler only). ``program`` may there be the windowless Python
    interpreter, which is then given our module: the console script would leave an empty window standing.
    """
    match system:
        case "systemd":
            return _systemd(program, settings)
        case "launchd":
            return _launchd(program, settings, data)
        case "task-scheduler":
            return _task(program, settings, person)


def next_steps(system: System, unit_place: PurePath) -> tuple[str, ...]:
    """Return the commands that switch the unit on, to be run by the person."""
    match system:
        case "systemd":
            return (
                "systemctl --user daemon-reload",
                f"systemctl --user enable --now {LABEL}.service",
                'loginctl enable-linger "$USER"    # keeps it running after you log out',
            )
        case "launchd":
            return (f'launchctl bootstrap "gui/$(id -u)" {shlex.quote(str(unit_place))}',)
        case "task-scheduler":
            return (f'schtasks /Create /F /TN {LABEL} /XML "{unit_place}"', f"schtasks /Run /TN {LABEL}")


def last_steps(system: System) -> tuple[str, ...]:
    """Return the commands that stop the service and take it out of the system's hands again."""
    match system:
        case "systemd":
            return (f"systemctl --user disable --now {LABEL}.service",)
        case "launchd":
            return (f'launchctl bootout "gui/$(id -u)/local.{LABEL}"',)
        case "task-scheduler":
            return (f"schtasks /End /TN {LABEL}", f"schtasks /Delete /F /TN {LABEL}")


def _quoted(path: PurePath) -> str:
    """Quote a path for a systemd command line: it expands % and $ even within quotes."""
    text = str(path).replace("\\", "\\\\").replace('"', '\\"').replace("%", "%%").replace("$", "$$")
    return f'"{text}"'


def _systemd(program: PurePath, settings: PurePath) -> str:
    folder = str(settings.parent).replace("%", "%%")
    return f"""\
[Unit]
Description=Coilwatch: reads kiln firing logs and tells when elements need attention

[Service]
Type=notify
ExecStart={_quoted(program)} start --settings {_quoted(settings)}
WorkingDirectory={folder}
Restart=on-failure
RestartSec=10
WatchdogSec=300
TimeoutStopSec=10
NoNewPrivileges=yes

[Install]
WantedBy=default.target
"""


def _launchd(program: PurePath, settings: PurePath, data: PurePath) -> str:
    return plistlib.dumps(
        {
            "Label": f"local.{LABEL}",
            "ProgramArguments": [str(program), "start", "--settings", str(settings)],
            "WorkingDirectory": str(settings.parent),
            "RunAtLoad": True,
            "KeepAlive": {"SuccessfulExit": False},
            "ProcessType": "Background",
            "StandardErrorPath": str(data / "service-output.log"),
            "ExitTimeOut": 10,
        }
    ).decode("utf-8")


def _task(program: PurePath, settings: PurePath, person: str) -> str:
    """Write the task for one account: a logon trigger without one is an administrator's ([MS-TSCH], adding a task)."""
    start = f'start --settings "{settings}"'
    if program.stem.casefold() == "pythonw":
        start = f"-P -m daemon.main {start}"  # -P: a folder of the same name beside the settings is not ours
    return f"""\
<?xml version="1.0" encoding="UTF-16"?>
<Task version="1.2" xmlns="http://schemas.microsoft.com/windows/2004/02/mit/task">
  <RegistrationInfo>
    <Description>Coilwatch: reads kiln firing logs and tells when elements need attention</Description>
  </RegistrationInfo>
  <Triggers>
    <LogonTrigger>
      <Enabled>true</Enabled>
      <UserId>{escape(person)}</UserId>
    </LogonTrigger>
  </Triggers>
  <Principals>
    <Principal id="Author">
      <UserId>{escape(person)}</UserId>
      <LogonType>InteractiveToken</LogonType>
      <RunLevel>LeastPrivilege</RunLevel>
    </Principal>
  </Principals>
  <Settings>
    <MultipleInstancesPolicy>IgnoreNew</MultipleInstancesPolicy>
    <DisallowStartIfOnBatteries>false</DisallowStartIfOnBatteries>
    <StopIfGoingOnBatteries>false</StopIfGoingOnBatteries>
    <StartWhenAvailable>true</StartWhenAvailable>
    <ExecutionTimeLimit>PT0S</ExecutionTimeLimit>
    <RestartOnFailure>
      <Interval>PT1M</Interval>
      <Count>255</Count>
    </RestartOnFailure>
  </Settings>
  <Actions Context="Author">
    <Exec>
      <Command>{escape(str(program))}</Command>
      <Arguments>{escape(start)}</Arguments>
      <WorkingDirectory>{escape(str(settings.parent))}</WorkingDirectory>
    </Exec>
  </Actions>
</Task>
"""
