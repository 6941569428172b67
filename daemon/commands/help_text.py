"""How help is laid out: commands by occasion, descriptions filled to the terminal's width, examples left as written."""

import argparse

EXIT_CODES = "exit codes: 0 done, 1 ran but something needs attention, 2 wrong use or settings, 3 could not run"
OCCASIONS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("to look at it", ("demo",)),
    ("to begin", ("setup", "read", "check", "backfill", "start", "service")),
    ("from day to day", ("status", "report", "acknowledge", "mute")),
    ("around a repair", ("visit", "log", "export")),
    ("now and then", ("assess", "restore", "completion")),
)
"""Every command under the occasion on which a person wants it."""

FIRST_STEPS = f"""\
first steps:
  coilwatch setup                  asks a few questions, writes coilwatch.toml
  coilwatch read my-log.csv        how one of your logs is understood
  coilwatch start                  watch the drop folder
Each command explains itself with an example: coilwatch COMMAND --help

files:
  coilwatch.toml                   settings and the register of kilns, commented
  drop/KILN/                       where a kiln's logs are put; nothing in it is changed
  data/                            database, reports, back-ups, service.log
  secrets/alerts__targets__NAME    one notification address each
environment:
  COILWATCH_SETTINGS               the settings file, if it is not ./coilwatch.toml
  COILWATCH_...                    any setting, tables joined by two underscores

{EXIT_CODES}"""


class HelpText(argparse.HelpFormatter):
    """Fills what is one paragraph and keeps what has lines of its own."""

    def _fill_text(self, text: str, width: int, indent: str) -> str:
        if "\n" in text:
            return "\n".join(indent + line for line in text.splitlines())
        return super()._fill_text(text, width, indent)


class TopHelp(HelpText):
    """The same for the program itself: its commands by occasion."""

    def _format_action(self, action: argparse.Action) -> str:
        if not isinstance(action, argparse._SubParsersAction):  # noqa: SLF001 - argparse has no other name for it
            return super()._format_action(action)
        said = {each.dest: each.help or "" for each in action._get_subactions()}  # noqa: SLF001
        lines: list[str] = []
        for occasion, verbs in OCCASIONS:
            lines.append(f"  {occasion}")
            lines += [f"    {verb:<13} {said[verb]}" for verb in verbs if verb in said]
        return "\n".join(lines) + "\n"


def lay_out(command: argparse.ArgumentParser) -> None:
    """Give one command's help the common layout, its exit codes last."""
    command.formatter_class = HelpText
    command._positionals.title = "what it is given"  # noqa: SLF001 - argparse has no other way
    command.epilog = f"{command.epilog}\n\n{EXIT_CODES}"
