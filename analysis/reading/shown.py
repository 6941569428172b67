"""Text from a log made safe to show: no control character, escape sequence or direction mark goes through."""

_LONGEST = 200


def shown(text: str, longest: int = _LONGEST) -> str:
    """Return text on one line with characters that cannot be printed replaced by a visible mark."""
    if text.isascii() and text.isprintable() and len(text) <= longest:
        return text.strip()
    clean = "".join(
        char if char.isprintable() else " " if char.isspace() else "�" for char in text[: longest + 1]
    ).strip()
    return clean if len(clean) <= longest else clean[: longest - 1] + "…"
