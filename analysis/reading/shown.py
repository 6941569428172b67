"""Text from a log made safe to show: no control character, escape sequence or direction mark goes through."""

import unicodedata

_LONGEST = 200


def shown(text: str, longest: int = _LONGEST) -> str:
    """Return text on one line with control and format characters replaced by a visible mark."""
    if text.isascii() and text.isprintable() and len(text) <= longest:
        return text.strip()
    clean = "".join(
        " " if char in "\t\n\r" else "�" if unicodedata.category(char) in {"Cc", "Cf", "Cs", "Co", "Zl", "Zp"} else char
        for char in text[: longest + 1]
    ).strip()
    return clean if len(clean) <= longest else clean[: longest - 1] + "…"
