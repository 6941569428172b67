"""What the demo shows: a time line, a progress bar, the phone's messages. Plain text when not a terminal."""

import sys
import textwrap
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from datetime import date
from pathlib import Path

from rich.console import Console
from rich.markup import escape
from rich.panel import Panel
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TaskID, TextColumn, TimeElapsedColumn

from daemon.demo.phone import Message

PHONE_WIDTH = 46
_SIGN = {"urgent": "!!", "warning": "! ", "info": "i ", "well": "  "}
_STYLE = {"urgent": "bold reverse", "warning": "bold", "info": "", "well": "dim"}


class Screen:
    """Writes the demo's story to standard output."""

    def __init__(self) -> None:
        if hasattr(sys.stdout, "reconfigure"):
            sys.stdout.reconfigure(errors="replace")  # an old console may not know the degree sign
        self._console = Console(highlight=False, soft_wrap=not sys.stdout.isatty())
        self._plain = not self._console.is_terminal
        self._progress: Progress | None = None
        self._task: TaskID | None = None

    @contextmanager
    def progress(self, total: int) -> Iterator[None]:
        """Show a progress bar below the time line while the block runs."""
        if self._plain:
            yield
            return
        columns = (TextColumn("firing logs"), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn())
        with Progress(*columns, console=self._console, transient=True) as progress:
            self._progress = progress
            self._task = progress.add_task("logs", total=total)
            yield
        self._progress = None

    def advance(self) -> None:
        """One more log is dealt with."""
        if self._progress is not None and self._task is not None:
            self._progress.advance(self._task)

    def say(self, text: str = "", style: str = "") -> None:
        """Write one line as it is."""
        self._console.print(escape(text), style=style or None)

    def heading(self, text: str) -> None:
        """Write a heading with room above."""
        self.say()
        self.say(text, "bold")

    def entry(self, day: date, kiln: str, level: str, text: str) -> None:
        """Write one line of the time line: when, which kiln, how serious, what."""
        self.say(f"{day.isoformat()}  {kiln:<8} {_SIGN[level]} {text}", _STYLE[level])

    def arrived(self, message: Message) -> None:
        """Say under the time line that a message reached the phone."""
        said = " ".join(f"{message.title}: {message.text}".split())
        self.say(f"{'':<22} -> phone: {textwrap.shorten(said, 90, placeholder=' ...')}", "italic")

    def phone(self, messages: Sequence[Message]) -> None:
        """Show messages as the owner's phone would."""
        for message in _with_pictures_below(messages):
            picture = "".join(f"\n[picture: {path.name}]" for path in message.pictures)
            if self._plain:
                self.say(f"  +-- {message.number} {'-' * (PHONE_WIDTH - 8)}")
                for line in [message.title, *(message.text + picture).splitlines()]:
                    for part in textwrap.wrap(line, PHONE_WIDTH) or [""]:
                        self.say(f"  | {part}")
                self.say(f"  +{'-' * (PHONE_WIDTH + 1)}")
            else:
                body = escape(message.text + picture)
                title = escape(message.title) or str(message.number)
                self._console.print(Panel(body, title=title, title_align="left", width=PHONE_WIDTH + 4))

    def places(self, places: Sequence[tuple[str, Path]]) -> None:
        """List where things are, one to a line, never cut."""
        width = max((len(name) for name, _ in places), default=0)
        for name, path in places:
            self._console.print(f"  {escape(name):<{width}}  {escape(str(path))}", soft_wrap=True)


def _with_pictures_below(messages: Sequence[Message]) -> list[Message]:
    """Return the messages with each picture, which may come later, shown below its text, as a phone groups them."""
    shown: list[Message] = []
    for message in messages:
        places = [place for place, before in enumerate(shown) if before.title == message.title and not before.pictures]
        if message.pictures and places:
            shown[places[-1]] = replace(shown[places[-1]], pictures=message.pictures)
        else:
            shown.append(message)
    return shown
