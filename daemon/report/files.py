"""Names of report files: safe on every system, whatever a kiln is called."""

import hashlib
import re

LONGEST = 60
# Names that some systems keep for themselves, and the studio page's own.
_DEVICES = {f"{device}{n}" for device in ("com", "lpt") for n in range(10)}
_RESERVED = frozenset({"con", "prn", "aux", "nul", "index", *_DEVICES})


def slug(kiln_id: str) -> str:
    """Return a file name's stem for a kiln: its id where that is plain, else a plain form with a check number.

    Two ids never share a stem: wherever a character had to give way, part of the id's hash is added.
    """
    plain = re.sub(r"[^a-z0-9_-]+", "-", kiln_id.lower()).strip("-_")[:LONGEST]
    if plain == kiln_id and plain not in _RESERVED:
        return plain
    check = hashlib.sha256(kiln_id.encode("utf-8", "surrogatepass")).hexdigest()[:8]
    return f"{plain or 'kiln'}-{check}"
