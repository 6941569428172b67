"""The demo's screen without a terminal: plain lines that can be kept in a file, nothing that moves."""

from datetime import date
from pathlib import Path

from daemon.demo.phone import Message
from daemon.demo.screen import PHONE_WIDTH, Screen


def test_the_time_line_is_plain_text_with_the_seriousness_in_signs(capsys):
    screen = Screen()
    with screen.progress(3):
        screen.entry(date(2026, 1, 10), "juniper", "well", "glaze to 1225 °C; power 99%")
        screen.entry(date(2026, 1, 22), "juniper", "urgent", "[bold]a circuit is dead[/bold]")
        screen.advance()
    out = capsys.readouterr().out
    assert out.splitlines() == [
        "2026-01-10  juniper     glaze to 1225 °C; power 99%",
        "2026-01-22  juniper  !! [bold]a circuit is dead[/bold]",
    ]
    assert "\x1b" not in out
    assert "\r" not in out


def test_a_message_is_shown_whole_in_the_width_of_a_phone(capsys):
    text = "Half the power is gone since 22 January. " * 6 + "\nNo safety device."
    Screen().phone([Message(4, "Juniper: a circuit is dead", text, (Path("phone") / "message-04-1.png",))])
    lines = capsys.readouterr().out.splitlines()
    assert max(map(len, lines)) <= PHONE_WIDTH + 4
    shown = " ".join(line.removeprefix("  | ") for line in lines)
    assert " ".join(text.split()) in shown
    assert "message-04-1.png" in shown


def test_a_path_is_never_cut_or_broken_over_lines(capsys):
    long = Path("/somewhere") / ("deep" * 60) / "heron.html"
    Screen().places([("report", long)])
    assert str(long) in capsys.readouterr().out.splitlines()[0]


def test_a_picture_sent_after_its_text_is_shown_below_it(capsys):
    texts = [
        Message(1, "Heron: elements worn", "Full power 94 %."),
        Message(2, "Heron: elements worn", "Picture to incident HER-0001.", (Path("message-02-1.png"),)),
        Message(3, "Heron: over", "No longer seen."),
    ]
    Screen().phone(texts)
    out = capsys.readouterr().out
    assert out.count("+-- ") == 2
    assert out.index("Full power") < out.index("message-02-1.png") < out.index("No longer seen")
