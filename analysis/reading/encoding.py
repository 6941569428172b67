"""Bytes as they lie on the disk -> ASCII-compatible bytes with plain line ends, and the codec their text is in."""

import codecs
from dataclasses import dataclass

from analysis.reading.firing_log import UnreadableLog

_MAGIC = (
    (b"PK\x03\x04", "a zip archive or a spreadsheet workbook", "Save it as CSV text."),
    (b"\x1f\x8b", "a compressed file", "Unpack it first."),
    (b"\xd0\xcf\x11\xe0", "an old spreadsheet workbook", "Save it as CSV text."),
    (b"%PDF", "a PDF document", "Export the log as text."),
    (b"SQLite format 3", "a database file", "Export the log as text."),
    (b"\x89PNG", "a picture", "Export the log as text."),
    (b"\xff\xd8\xff", "a picture", "Export the log as text."),
)
_BOMS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF32_LE, "utf-32-le"),
    (codecs.BOM_UTF32_BE, "utf-32-be"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)
_CONTROL = bytes(set(range(32)) - {9, 10, 12, 13, 27})


@dataclass(frozen=True, slots=True)
class PlainText:
    """``body`` has line feeds only, no byte-order mark and no NUL; ``codec`` decodes pieces of it."""

    body: bytes
    codec: str
    encoding: str
    why: str
    problems: tuple[str, ...]

    def text(self, piece: bytes) -> str:
        """Return a piece of ``body`` as text (undecodable bytes become the replacement character)."""
        return piece.decode(self.codec, "replace")


def plain_text(data: bytes, hint: str | None = None) -> PlainText:
    """Return the text of a log.

    ``hint`` is the register's ``encoding``. Raises ``UnreadableLog`` if the bytes are no text, or the hint names
    no encoding.
    """
    if not data[:4000].strip(b"\0 \r\n\t") and not data.strip(b"\0 \r\n\t"):
        raise UnreadableLog("the file is empty.", remedy="Wait until the controller has written to it.")
    for magic, what, remedy in _MAGIC:
        if data.startswith(magic):
            raise UnreadableLog(f"this is {what}, not a plain-text log.", remedy=remedy)
    encoding, why, skip = _recognise(data, hint)
    problems: list[str] = []
    if encoding.startswith(("utf-16", "utf-32")):
        text = data[skip:].decode(encoding, "replace")
        body, codec = text.encode("utf-8", "replace"), "utf-8"
    else:
        body, codec = data[skip:] if skip else data, encoding
    if body[-1:] in b"\0\x1a":
        trimmed = body.rstrip(b"\0\x1a")
        problems.append(f"{len(body) - len(trimmed)} NUL bytes after the last row left out")
        body = trimmed
    if b"\0" in body:
        problems.append(f"{body.count(0)} NUL bytes in mid-file left out")
        body = body.replace(b"\0", b"")
    if b"\r" in body:
        body = body.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    head = body[:4000]
    odd = len(head) - len(head.translate(None, _CONTROL))
    if odd > 0.02 * len(head) + 8:
        raise UnreadableLog("this is not a plain-text log (too many control characters).", remedy="Export it as text.")
    return PlainText(body, codec, encoding, why, tuple(problems))


def _recognise(data: bytes, hint: str | None) -> tuple[str, str, int]:
    """Return codec name, why, and the length of the byte-order mark."""
    for bom, name in _BOMS:
        if data.startswith(bom):
            return name, "byte-order mark", len(bom)
    if hint is not None:
        try:
            codec = codecs.lookup(hint)
        except LookupError:
            codec = None
        if codec is None or not getattr(codec, "_is_text_encoding", True):
            raise UnreadableLog(
                f"[kiln.log] encoding = {hint!r} is no text encoding known here.",
                remedy="Use for example utf-8, utf-16-le or cp1252.",
            )
        return codec.name, "setting [kiln.log] encoding", 0
    wide = _wide(data[:4000])
    if wide:
        return wide, "every other byte is NUL", 0
    if data.isascii():
        return "utf-8", "plain ASCII", 0
    try:
        data.decode("utf-8")
    except UnicodeDecodeError as error:
        if error.start < len(data) - 4:
            return "cp1252", "bytes that are not UTF-8", 0
    return "utf-8", "valid UTF-8", 0


def _wide(head: bytes) -> str | None:
    """UTF-16 without a mark shows as NUL in the odd (little-endian) or even places."""
    head = head.rstrip(b"\0")
    half = len(head) // 2
    if half < 4:
        return None
    odd, even = head[1::2].count(0), head[0::2].count(0)
    if odd > 0.7 * half and even < 0.1 * half:
        return "utf-16-le"
    if even > 0.7 * half and odd < 0.1 * half:
        return "utf-16-be"
    return None
