"""What is told apart at a glance: grounds by colour for all eyes, outcomes by shape alone; nothing moves or is lost.

NHTSA's visual-manual guidelines (78 FR 24817, 2013; from memory): a glance of at most 2 s, 12 s in all. A line of six
words, one number, one mark and the lane are four fixations of about a quarter of a second.
"""

from __future__ import annotations

import base64
from itertools import combinations

import numpy as np
import pytest

from tests.browser import faces
from tests.browser.conftest import need_font
from tests.browser.test_glance import MEASURE, NEEDS, SMALLEST, STANDING, minutes
from tests.browser.test_tokens import lights
from tests.helpers.seeing import EYES, ciecam02, difference

GROUNDS = {"calm": "hold", "steer": "steer", "secured": "secured", "alarm": "limit"}
BLURRED = """async (png) => {
  const image = new Image();
  image.src = 'data:image/png;base64,' + png;
  await image.decode();
  const canvas = document.createElement('canvas');
  canvas.width = image.width;
  canvas.height = image.height;
  const context = canvas.getContext('2d');
  context.filter = 'blur(9px)';
  context.drawImage(image, 0, 0);
  const { data } = context.getImageData(30, 60, image.width - 60, 300);
  const sum = [0, 0, 0];
  for (let n = 0; n < data.length; n += 4) for (let c = 0; c < 3; c += 1) sum[c] += data[n + c];
  return sum.map((total) => total / (data.length / 4));
}"""
MARKS = """async (names) => {
  const { mark } = await import('/js/parts/marks.js');
  return Promise.all(names.map(async (name) => {
    const element = mark(name);
    element.setAttribute('xmlns', 'http://www.w3.org/2000/svg');
    element.setAttribute('width', 48);
    element.setAttribute('height', 48);
    element.style.color = 'black';
    const image = new Image();
    image.src = 'data:image/svg+xml;base64,' + btoa(element.outerHTML);
    await image.decode();
    const canvas = document.createElement('canvas');
    canvas.width = canvas.height = 48;
    const context = canvas.getContext('2d');
    context.fillStyle = 'white';
    context.fillRect(0, 0, 48, 48);
    context.drawImage(image, 0, 0, 48, 48);
    const { data } = context.getImageData(0, 0, 48, 48);
    return Array.from({ length: 48 * 48 }, (_, n) => data[4 * n]);
  }));
}"""
OUTCOMES = ["todo", "running", "secured", "missed", "stopped", "sparse", "skipped"]
MOVING = """() => Object.fromEntries([...document.querySelectorAll('*')]
  .map((e) => [e.className?.baseVal ?? e.className ?? '', getComputedStyle(e)])
  .filter(([, s]) => s.transitionDuration.split(', ').some((d) => parseFloat(d) > 0) || s.animationName !== 'none')
  .map(([name, s]) => [String(name).split(' ')[0], s.transitionDuration]))"""
CENTRE = "(e) => { const r = e.getBoundingClientRect(); return [r.left + r.width / 2, r.top + r.height / 2]; }"


def show(page, server, name):
    """Pushes a face and waits until it stands."""
    server.push(faces.copy(name))
    line = "The car is moving" if name == "locked" else faces.FACES[name]["face"]["line"]
    page.wait_for_function(
        "(line) => [...document.querySelectorAll('.words')].some((e) => e.textContent === line)", arg=line
    )


def test_the_colour_model_gives_the_published_example():
    """CIE 159: X 19.01, Y 20.00, Z 21.78 under D65 at 318.31 cd/m2 gives J 41.73, M 0.1088, h 219.0."""
    white = np.array([95.05, 100.0, 108.88])
    lightness, colourful, hue = ciecam02([19.01, 20.00, 21.78], white, adapting=318.31)
    assert (lightness, colourful, hue) == (
        pytest.approx(41.73, abs=0.01),
        pytest.approx(0.1088, abs=0.001),
        pytest.approx(219.0, abs=0.1),
    )


@pytest.mark.parametrize("eyes", EYES)
@pytest.mark.parametrize(("light", "least"), [("day", 15), ("night", 7), ("contrast", 15)])
def test_grounds_are_told_apart_by_all_eyes(eyes, light, least):
    """Calm, steering, secured and alarm, for usual, protan, deutan and tritan eyes (CAM02-UCS distance)."""
    tokens = lights()[light]
    colours = [tokens[name] for name in ("ground", "steer", "won", "limit")]
    assert min(difference(a, b, eyes) for a, b in combinations(colours, 2)) >= least


def test_a_blurred_picture_still_says_which_ground(face, server):
    """Each face blurred by 9 px, as at a glance from aside: the tops differ by at least 15 in CAM02-UCS."""
    page = face("hold").page
    seen = {}
    for ground, name in GROUNDS.items():
        show(page, server, name)
        seen[ground] = page.evaluate(BLURRED, base64.b64encode(page.screenshot()).decode())
    close = {
        pair: round(difference(seen[pair[0]], seen[pair[1]]), 1)
        for pair in combinations(seen, 2)
        if difference(seen[pair[0]], seen[pair[1]]) < 15
    }
    assert close == {}


def test_outcomes_are_told_by_shape_alone(face):
    """Black on white, without any colour: of every two outcome marks at least a tenth of the square differs."""
    drawn = {
        n: np.array(v, dtype=float) for n, v in zip(OUTCOMES, face("hold").page.evaluate(MARKS, OUTCOMES), strict=True)
    }
    alike = {
        (a, b): round(float((abs(drawn[a] - drawn[b]) > 100).mean()), 3)
        for a, b in combinations(OUTCOMES, 2)
        if (abs(drawn[a] - drawn[b]) > 100).mean() < 0.1
    }
    assert alike == {}


@pytest.mark.parametrize("name", faces.FACES)
def test_a_face_takes_at_most_four_fixations(name):
    """Line, number, mark and lane; what carries a warning carries no number to read."""
    shown = faces.FACES[name]
    fixations = 1 + bool(shown["face"]["number"]) + (shown["face"]["mark"] != "none") + (shown["lead"] is not None)
    assert fixations <= 4


def test_every_text_of_every_face_is_high_enough(face, server):
    """Not of one face only: 12 minutes of arc for the smallest, 20 for the line, in each."""
    page = face("hold").page
    need_font(page)
    small = {}
    for name in STANDING:
        show(page, server, name)
        wanted = {".words": NEEDS[".words"]}
        measured = page.evaluate(MEASURE, wanted)
        small[name] = [text for text, px in measured["least"] if minutes(px) < SMALLEST]
        if minutes(measured["named"][".words"]) < NEEDS[".words"][1]:
            small[name].append(".words")
    assert {name: texts for name, texts in small.items() if texts} == {}


def test_nothing_moves_but_head_block_and_ground(face):
    """With motion: lane and top alone, in 120 ms. Without: nothing."""
    assert set(face("hold", reduced_motion="no-preference").page.evaluate(MOVING)) <= {
        "top",
        "head",
        "done",
        "gone",
        "",
    }
    assert face("hold", reduced_motion="reduce").page.evaluate(MOVING) == {}


@pytest.mark.parametrize(("size", "axis"), [((390, 844), 0), ((844, 390), 0)], ids=["upright", "holder"])
def test_stop_is_on_the_side_of_the_hand(opening, server, size, axis):
    """Right hand: Stop on the right; left hand: on the left; in a holder the whole column changes side."""
    server.face = "hold"
    page = opening("#/drive", size=size).page
    place = {}
    for hand in ("right", "left"):
        page.evaluate("(hand) => { document.querySelector('.drive').dataset.hand = hand; }", hand)
        place[hand] = page.locator(".bar .stop").evaluate(CENTRE)[axis]
    assert place["left"] < size[0] / 2 < place["right"]


def test_forced_colours_keep_shapes_and_borders(face):
    """Where the system forces its colours: the lane's edge, the post, the head and Stop's border are still drawn."""
    opened = face("steer", forced_colors="active")
    page = opened.page
    drawn = page.evaluate("""() => ['.lane .bed', '.lane .post', '.lane .head', '.bar .stop'].map((selector) => {
      const style = getComputedStyle(document.querySelector(selector));
      const ground = getComputedStyle(document.body).backgroundColor;
      return [style.borderTopColor, style.backgroundColor].some((c) => c !== ground && c !== 'rgba(0, 0, 0, 0)');
    })""")
    assert drawn == [True] * 4
    assert page.locator(".count svg[data-mark=down]").is_visible()
    assert opened.complaints == []
