"""The colours: contrast ratios of the pairs that carry meaning, in all four lights.

Formula: WCAG 2.2, definitions of relative luminance and contrast ratio (W3C Recommendation, 2023). Needs: 7 for text
(success criterion 1.4.6), 3 for shapes (1.4.11).
"""

from __future__ import annotations

import re

import pytest

from coach.assets import web_root

SHEET = (web_root() / "css/tokens.css").read_text("utf-8")
NEEDS = {
    ("ink", "ground"): 7,
    ("ink-2", "ground"): 7,
    ("ink", "panel"): 7,
    ("ink-2", "panel"): 7,
    ("on-steer", "steer"): 7,
    ("on-won", "won"): 7,
    ("on-limit", "limit"): 7,
    ("limit-ink", "ground"): 7,
    ("steer-ink", "ground"): 5,
    ("held", "ground"): 3,
    ("held", "lane"): 3,
    ("on-held", "held"): 3,
    ("rule", "ground"): 3,
    ("focus", "ground"): 3,
    ("focus", "panel"): 3,
}
PUBLISHED = (("#FFFFFF", "#000000", 21.0), ("#777777", "#FFFFFF", 4.48), ("#0000FF", "#FFFFFF", 8.59))
"""Ratios given in W3C's own material: white on black is 21:1, #777 fails 4.5:1 on white by a hair, blue is 8.59:1."""


def lights():
    """The tokens of each light, as the sheet sets them."""
    found = {}
    for selector, body in re.findall(r"([^{}]*\[data-light=\"[\w-]+\"\]) \{([^}]*)\}", SHEET):
        name = re.search(r"data-light=\"([\w-]+)\"", selector).group(1)
        found[name] = dict(re.findall(r"--([\w-]+): (#[0-9A-F]{6})", body))
    return found


def luminance(colour):
    """Relative luminance of #RRGGBB."""
    parts = (int(colour[n : n + 2], 16) / 255 for n in (1, 3, 5))
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def ratio(one, other):
    """Contrast ratio of two colours."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize(("one", "other", "published"), PUBLISHED)
def test_the_formula_gives_published_ratios(one, other, published):
    """The formula here is the published one."""
    assert ratio(one, other) == pytest.approx(published, abs=0.005)


def test_there_are_four_lights_with_the_same_tokens():
    """Day, night and both contrasts set the same colours, so that none shines through from another light."""
    found = lights()
    assert set(found) == {"day", "night", "contrast", "contrast-night"}
    assert {frozenset(tokens) for tokens in found.values()} == {frozenset(found["day"])}


@pytest.mark.parametrize("light", ["day", "night", "contrast", "contrast-night"])
def test_each_pair_has_the_contrast_that_it_needs(light):
    """Text reaches 7:1 and shapes 3:1 in every light."""
    tokens = lights()[light]
    low = {
        pair: round(ratio(tokens[pair[0]], tokens[pair[1]]), 2)
        for pair, need in NEEDS.items()
        if ratio(tokens[pair[0]], tokens[pair[1]]) < need
    }
    assert low == {}


def test_grounds_differ_in_lightness_or_pattern():
    """Steer, secured and alarm are told from calm without hue: their grounds differ in luminance."""
    for tokens in lights().values():
        calm = tokens["ground"]
        assert all(ratio(tokens[ground], calm) > 1.05 for ground in ("steer", "won", "limit"))
