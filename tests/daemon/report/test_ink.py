"""Contrast of every text colour, computed as WCAG 2 defines it."""

import pytest

from daemon.report import ink

TEXTS = (ink.TEXT, ink.SOFT, ink.COBALT, ink.CELADON, ink.OCHRE, ink.IRON)
GROUNDS = (ink.PAPER, ink.CARD)


def luminance(colour: str) -> float:
    """Relative luminance (WCAG 2.2, definition)."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_black_on_white_is_21_to_1():
    assert contrast("#ffffff", "#000000") == pytest.approx(21.0)


@pytest.mark.parametrize("ground", GROUNDS, ids=lambda i: i.role)
@pytest.mark.parametrize("text", TEXTS, ids=lambda i: i.role)
def test_every_text_colour_has_four_and_a_half_to_one_in_light_and_dark(text, ground):
    assert contrast(text.light, ground.light) >= 4.5
    assert contrast(text.dark, ground.dark) >= 4.5


def test_what_is_suspected_stays_readable_on_its_wash():
    assert contrast(ink.TEXT.light, ink.OCHRE_WASH.light) >= 4.5
    assert contrast(ink.TEXT.dark, ink.OCHRE_WASH.dark) >= 4.5


def test_lines_in_charts_have_three_to_one():
    for line in (ink.COBALT, ink.OCHRE, ink.CELADON, ink.IRON, ink.SLATE):
        assert contrast(line.light, ink.PAPER.light) >= 3.0
        assert contrast(line.dark, ink.PAPER.dark) >= 3.0


def test_light_colours_differ_so_that_each_finds_its_variable():
    assert len({i.light for i in ink.ALL}) == len(ink.ALL)
