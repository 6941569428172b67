"""The colours of pages and charts, by what they are used for: glaze colours on paper, each with a dark twin.

Charts are drawn in the light colours; on a page these become style variables, so that one drawing serves light,
dark and print. Every text colour has at least 4.5 : 1 against its paper (a test computes it).
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Ink:
    """One colour's role with its light and dark value."""

    role: str
    light: str
    dark: str


PAPER = Ink("paper", "#fbfaf5", "#17191b")
CARD = Ink("card", "#f1efe6", "#202427")
RULE = Ink("rule", "#d5d1c3", "#3b4043")
GRID = Ink("grid", "#e7e4d9", "#2b2f32")
TEXT = Ink("text", "#22262a", "#e9e6dd")
SOFT = Ink("soft", "#575d61", "#b0b3ad")
COBALT = Ink("cobalt", "#1c4d86", "#8db6ea")
COBALT_WASH = Ink("cobalt-wash", "#cbd9e8", "#2a3d55")
CELADON = Ink("celadon", "#2f6b57", "#8cc9b1")
OCHRE = Ink("ochre", "#7f5200", "#e2b768")
OCHRE_WASH = Ink("ochre-wash", "#eedfbd", "#43371f")
IRON = Ink("iron", "#9a2b1c", "#f39a87")
SLATE = Ink("slate", "#7b8185", "#868c8f")

ALL = (PAPER, CARD, RULE, GRID, TEXT, SOFT, COBALT, COBALT_WASH, CELADON, OCHRE, OCHRE_WASH, IRON, SLATE)


def variables(*, dark: bool) -> str:
    """Return the style variables of all colours, for a style sheet."""
    return "".join(f"--{ink.role}:{ink.dark if dark else ink.light};" for ink in ALL)
