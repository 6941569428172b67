"""How every command's help is laid out: descriptions filled to the terminal's width, examples left as written."""

import argparse


class HelpText(argparse.HelpFormatter):
    """Fills what is one paragraph and keeps what has lines of its own."""

    def _fill_text(self, text: str, width: int, indent: str) -> str:
        if "\n" in text:
            return "\n".join(indent + line for line in text.splitlines())
        return super()._fill_text(text, width, indent)
