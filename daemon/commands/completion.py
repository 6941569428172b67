"""``coilwatch completion``: what a shell needs to complete commands, options and fixed words.

The script is written from the commands' own parsers, so it never falls behind them.
"""

import argparse
from collections.abc import Callable
from dataclasses import dataclass

EXAMPLE = """examples:
  coilwatch completion bash >> ~/.bashrc
  coilwatch completion zsh >> ~/.zshrc
  coilwatch completion fish > ~/.config/fish/completions/coilwatch.fish
  coilwatch completion powershell >> $PROFILE"""


@dataclass(frozen=True, slots=True)
class Offer:
    """What may follow a verb: options and fixed words, each with what it is for. The empty verb stands for none yet."""

    verb: str
    help: str
    words: tuple[tuple[str, str], ...]


def add(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser(
        "completion",
        help="print what lets your shell complete commands and options",
        description="Prints a script for your shell. Put it where the shell reads it at its start (see the examples).",
        epilog=EXAMPLE,
    )
    parser.add_argument("shell", choices=tuple(_SHELLS), help="the shell it is for")


def run(args: argparse.Namespace) -> int:
    """Print the script."""
    print(_SHELLS[args.shell](offers()), end="")
    return 0


def offers() -> list[Offer]:
    """Return what may follow each verb; first what may follow none."""
    from daemon.main import parser

    top = parser()
    verbs = next(action for action in top._actions if isinstance(action, argparse._SubParsersAction))  # noqa: SLF001
    told = {choice.dest: choice.help or "" for choice in verbs._choices_actions}  # noqa: SLF001
    first = Offer("", "", (*told.items(), *_words(top)))
    return [first, *(Offer(verb, told[verb], _words(each)) for verb, each in verbs.choices.items())]


def _words(parser: argparse.ArgumentParser) -> tuple[tuple[str, str], ...]:
    found: list[tuple[str, str]] = []
    for action in parser._actions:  # noqa: SLF001 - argparse has no other way to ask
        if action.help == argparse.SUPPRESS:
            continue
        about = " ".join((action.help or "").replace("%%", "%").split())
        if action.option_strings:
            found.append((action.option_strings[-1], about))
        if action.choices is not None and not isinstance(action, argparse._SubParsersAction):  # noqa: SLF001
            found += [(str(choice), about) for choice in action.choices]
    return tuple(found)


def _bash(offered: list[Offer]) -> str:
    cases = "\n".join(f'    "{each.verb}") words="{" ".join(word for word, _ in each.words)}" ;;' for each in offered)
    return f"""_coilwatch() {{
  local word words="" verb=""
  for word in "${{COMP_WORDS[@]:1:$((COMP_CWORD - 1))}}"; do
    case "$word" in {"|".join(each.verb for each in offered[1:])}) verb="$word"; break ;; esac
  done
  case "$verb" in
{cases}
  esac
  COMPREPLY=($(compgen -W "$words" -- "${{COMP_WORDS[COMP_CWORD]}}"))
}}
complete -o default -F _coilwatch coilwatch
"""


def _zsh(offered: list[Offer]) -> str:
    cases = "\n".join(
        f"    {each.verb or chr(39) * 2}) offered=({' '.join(_zsh_word(*word) for word in each.words)}) ;;"
        for each in offered
    )
    return f"""_coilwatch() {{
  local -a offered
  local verb=${{words[2,CURRENT-1][(r)({"|".join(each.verb for each in offered[1:])})]}}
  case "$verb" in
{cases}
  esac
  _describe 'coilwatch' offered
  [[ -n "$verb" ]] && _files
}}
(( $+functions[compdef] )) || {{ autoload -Uz compinit && compinit; }}
compdef _coilwatch coilwatch
"""


def _zsh_word(word: str, about: str) -> str:
    return _quoted(f"{word}:{about}" if about else word)


def _fish(offered: list[Offer]) -> str:
    lines = []
    for each in offered:
        when = f"__fish_seen_subcommand_from {each.verb}" if each.verb else "__fish_use_subcommand"
        for word, about in each.words:
            what = f"-l {word[2:]}" if word.startswith("--") else f"-a {word}"
            lines.append(f"complete -c coilwatch -n {_quoted(when)} {what} -d {_quoted(about)}")
    return "\n".join(lines) + "\n"


def _powershell(offered: list[Offer]) -> str:
    table = "\n".join(
        f"    {_doubled(each.verb)} = @({', '.join(_doubled(word) for word, _ in each.words)})" for each in offered
    )
    return f"""Register-ArgumentCompleter -Native -CommandName coilwatch -ScriptBlock {{
  param($begun, $line, $place)
  $offered = @{{
{table}
  }}
  $verb = $line.CommandElements | ForEach-Object {{ "$_" }} | Where-Object {{ $_ -and $offered.ContainsKey($_) }} |
    Select-Object -First 1
  if ($verb -eq $begun) {{ $verb = '' }}
  $offered["$verb"] | Where-Object {{ $_ -like "$begun*" }} |
    ForEach-Object {{ [System.Management.Automation.CompletionResult]::new($_) }}
}}
"""


def _quoted(text: str) -> str:
    return "'" + text.replace("'", "’") + "'"


def _doubled(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"


_SHELLS: dict[str, Callable[[list[Offer]], str]] = {
    "bash": _bash,
    "zsh": _zsh,
    "fish": _fish,
    "powershell": _powershell,
}
