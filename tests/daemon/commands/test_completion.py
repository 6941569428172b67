"""What a shell completes."""

import shutil
import subprocess

import pytest

from daemon.commands.completion import offers
from daemon.main import VERBS, main


def test_every_verb_and_its_options_are_offered():
    first, *others = offers()
    assert tuple(word for word, _ in first.words[: len(VERBS)]) == VERBS
    assert [each.verb for each in others] == list(VERBS)
    assert {"--json", "--files", "--settings", "--help"} <= {word for word, _ in others[VERBS.index("status")].words}
    assert {"bash", "zsh", "fish", "powershell"} <= {word for word, _ in others[VERBS.index("completion")].words}


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish", "powershell"])
def test_each_shell_gets_a_script_that_names_every_verb(shell, capsys):
    assert main(["completion", shell]) == 0
    script = capsys.readouterr().out
    assert all(verb in script for verb in VERBS)
    assert "--settings" in script or "-l settings" in script


@pytest.mark.skipif(shutil.which("bash") is None, reason="needs bash")
@pytest.mark.parametrize(
    ("typed", "completed"),
    [
        (["coilwatch", "sta"], ["start", "status"]),
        (["coilwatch", "status", "--j"], ["--json"]),
        (["coilwatch", "--settings", "x.toml", "service", "--ins"], ["--install"]),
    ],
)
def test_bash_completes_verbs_and_options(typed, completed, capsys):
    main(["completion", "bash"])
    words = " ".join(f"'{word}'" for word in typed)
    ask = f'COMP_WORDS=({words}); COMP_CWORD={len(typed) - 1}; _coilwatch; echo "${{COMPREPLY[@]}}"'
    script = capsys.readouterr().out + ask
    done = subprocess.run(["bash", "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.split() == completed


@pytest.mark.parametrize("shell", ["zsh", "fish"])
def test_other_shells_can_read_their_script(shell, capsys):
    program = shutil.which(shell)
    if program is None:
        pytest.skip(f"needs {shell}")
    main(["completion", shell])
    done = subprocess.run([program, "-n"], input=capsys.readouterr().out, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


@pytest.mark.skipif(shutil.which("fish") is None, reason="needs fish")
@pytest.mark.parametrize(
    ("typed", "completed"),
    [
        ("coilwatch sta", {"start", "status"}),
        ("coilwatch status --j", {"--json"}),
        ("coilwatch service --for ", {"launchd", "systemd", "task-scheduler"}),
    ],
)
def test_fish_completes_verbs_options_and_words(typed, completed, capsys, tmp_path):
    main(["completion", "fish"])
    script = tmp_path / "coilwatch.fish"
    script.write_text(capsys.readouterr().out, encoding="utf-8")
    ask = f"source {script}; complete -C '{typed}'"
    done = subprocess.run(["fish", "--no-config", "-c", ask], capture_output=True, text=True, check=True)
    assert completed <= {line.split("\t")[0] for line in done.stdout.splitlines()}
