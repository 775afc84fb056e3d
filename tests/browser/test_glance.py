"""What can be read at a glance: letter heights, six words and one number, nothing that moves from face to face."""

from __future__ import annotations

import pytest

from tests.browser import faces
from tests.browser.conftest import need_font

PITCH_MM = 64.6 / 390
"""A phone of 6 inches shows 390 CSS px on 64.6 mm."""
DISTANCE_MM = 600
# ISO 15008 (in-vehicle legibility), classes of 20, 16 and 12 arc minutes: from memory.
NEEDS = {
    ".number": ("0", 60),
    ".words": ("x", 20),
    ".lead .value": ("0", 20),
    ".lead .name": ("H", 16),
    ".row .name": ("H", 16),
}
SMALLEST = 12
MEASURE = """(wanted) => {
  const ctx = document.createElement('canvas').getContext('2d');
  const height = (element, letter) => {
    const style = getComputedStyle(element);
    // At twenty times the size, because the browser rounds what it measures to whole pixels.
    ctx.font = `${style.fontWeight} ${parseFloat(style.fontSize) * 20}px ${style.fontFamily}`;
    return ctx.measureText(letter).actualBoundingBoxAscent / 20;
  };
  const named = Object.fromEntries(Object.entries(wanted).map(
    ([s, [letter]]) => [s, height(document.querySelector(s), letter)]));
  const own = (e) => [...e.childNodes].some((n) => n.nodeType === 3 && n.textContent.trim());
  const texts = [...document.querySelectorAll('.drive *')].filter((e) => e.checkVisibility() && own(e));
  return { named, least: texts.map((e) => [e.textContent, height(e, 'H')]) };
}"""
BOXES = """() => Object.fromEntries(['.count', '.lane', '.rows', '.bar', '.what'].map((s) => {
  const r = document.querySelector(s).getBoundingClientRect();
  return [s, [r.left, r.top, r.width, s === '.what' ? 0 : r.height].map((v) => Math.round(v * 100) / 100)];
}))"""
STANDING = [name for name in faces.FACES if name not in faces.WHOLE | faces.PAGES | {"paused"}]


def minutes(px):
    """Arc minutes of a height in CSS px."""
    return 3438 * px * PITCH_MM / DISTANCE_MM


def test_letters_are_high_enough(face):
    """At arm's length, number, line, values, names and the smallest text reach the heights that they need."""
    page = face("hold").page
    need_font(page)
    measured = page.evaluate(MEASURE, NEEDS)
    heights = {selector: minutes(px) for selector, px in measured["named"].items()}
    assert {
        selector: round(heights[selector], 1) for selector, (_, need) in NEEDS.items() if heights[selector] < need
    } == {}
    assert [(text, round(minutes(px), 1)) for text, px in measured["least"] if minutes(px) < SMALLEST] == []


@pytest.mark.parametrize("name", faces.FACES)
def test_a_face_is_one_line_and_one_number(name):
    """At most six words, no figure among them, at most one number; warnings and alarms have none."""
    shown = faces.FACES[name]["face"]
    assert len(shown["line"].split()) <= 6
    assert not any(c.isdigit() for c in shown["line"])
    assert len(shown["number"].split()) <= 1
    assert shown["number"] == "" or shown["ground"] not in {"warn", "alarm", "lost"}


@pytest.mark.parametrize(
    "size", [(390, 844), (390, 664), (320, 568), (844, 390)], ids=lambda size: f"{size[0]}x{size[1]}"
)
def test_nothing_moves_from_face_to_face(face, server, size):
    """Number, lane, rows and bar are at the same pixel in every face."""
    page = face("hold", size=size).page
    need_font(page)
    boxes = {}
    for name in STANDING:
        server.push(faces.copy(name))
        page.wait_for_function(
            "(line) => document.querySelector('.words').textContent === line", arg=faces.FACES[name]["face"]["line"]
        )
        boxes[name] = page.evaluate(BOXES)
    assert {name: box for name, box in boxes.items() if box != boxes["hold"]} == {}
