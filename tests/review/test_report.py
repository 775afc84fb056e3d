"""The report: self-contained, the same to the byte, readable without script, on paper, by a screen reader."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from itertools import pairwise

import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe

from coach.assets import traces_root, vendor_root
from coach.catalogue import default_catalogue
from coach.recipe import load_recipe
from coach.recording import Mark
from coach.review.report import html
from coach.review.report.draw import _outline
from coach.review.report.svg import Frame, area, n, padded, path, ticks
from coach.review.subject import given_subject
from coach.sources.table import read_table
from coach.vehicle import load_vehicle
from coach.words import load_words
from tests.review.made import const, hold, series, subject, sweep

ROOT = traces_root()


def bundled(name):
    catalogue = default_catalogue()
    return given_subject(load_recipe(ROOT / "demo-recipe.toml", catalogue), read_table(ROOT / f"{name}.csv", catalogue),
                         catalogue, load_vehicle(ROOT / "demo-vehicle.toml"), name=name)  # fmt: skip


@pytest.fixture(scope="module")
def good():
    return html(bundled("everything-qualifies"))


class Tree(HTMLParser):
    """Open tags must close in order; collects what a test asks for."""

    VOID = frozenset({"meta", "br", "link", "path", "rect", "img"})

    def __init__(self, text):
        super().__init__()
        self.open, self.tags, self.heads = [], [], []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        assert self.open, tag
        assert self.open.pop() == tag


def test_the_same_drive_gives_the_same_bytes(good):
    """No clock, no order of a set, nothing of the place where it was made."""
    assert html(bundled("everything-qualifies")) == good


def test_nothing_outside_is_needed(good):
    """No script, no address, no file: only data inside."""
    tree = Tree(good)
    assert tree.open == []
    assert not [t for t, _ in tree.tags if t in {"script", "link", "img", "iframe", "object"}]
    assert not [a for _, a in tree.tags if {"src", "href", "onclick", "onload"} & set(a)]
    assert not re.findall(r"https?://", good)
    assert set(re.findall(r"url\(([a-z]+)", good)) <= {"data"}


def test_a_screen_reader_finds_its_way(good):
    """One main, one h1, headings without a leap, every picture named, every table with headers, a language."""
    tree = Tree(good)
    names = [t for t, _ in tree.tags]
    assert names.count("main") == names.count("h1") == 1
    levels = [int(t[1]) for t in names if re.fullmatch(r"h[1-6]", t)]
    assert all(b - a <= 1 for a, b in pairwise(levels))
    assert all(a.get("role") == "img" and a.get("aria-label") for t, a in tree.tags if t == "svg")
    assert names.count("table") <= sum(t == "th" for t in names)
    assert next(a for t, a in tree.tags if t == "html")["lang"] == "en"


def test_it_says_what_the_review_says(good):
    """Verdict, captures, figures, why not, the caution, the recipe's digest."""
    for words in ("Everything qualified", "Held 1:57, asked 1:30", "Full pedal in third", "Boost onset", "Total trim",
                  "Cannot be said, because", "SAE J1349, 2004", "local law",
                  bundled("dropout").recipe.sha256):  # fmt: skip
        assert words in good, words


def test_light_dark_contrast_and_paper(good):
    """By the reader's own settings; A4 and letter take their margins from the page rule, with no size forced."""
    for rule in ("prefers-color-scheme:dark", "prefers-contrast:more", "forced-colors:active", "@media print", "@page"):
        assert rule in good
    assert "size:" not in re.search(r"@page\{[^}]*\}", good)[0]


def test_the_typeface_is_inside_where_the_build_has_it(good):
    plain = html(bundled("dropout"), embed_font=False)
    assert "font-face" not in plain
    assert ("font-face" in good) == (vendor_root() is not None)


@pytest.mark.parametrize("name", ["limit-passed", "cold-engine", "dropout", "undersampled", "wrong-gear", "early-lift"])
def test_every_way_to_fail_has_a_report(name):
    """Well formed, with no NaN in it."""
    text = html(bundled(name))
    assert Tree(text).open == []
    assert "nan" not in re.sub(r"base64,[^)]*", "", text).lower().replace("financ", "")


def test_what_people_typed_cannot_become_markup():
    """Names and notes of a drive, titles of a recipe, facts."""
    evil = '<script>alert("x")</script>'
    s = subject(hold("h", 20, 'road_speed = { min = "70 km/h" }').replace('"Made"', "'<b>Made</b>'"),
                {"road_speed": series(4, 60, const(80))},
                marks=(Mark(0, "fact", None, f"parts_changed={evil}"),), note=evil, label=evil)  # fmt: skip
    text = html(s)
    assert "<script" not in text
    assert "<b>Made</b>" not in text
    assert text.count("&lt;script&gt;") >= 3
    assert Tree(text).open == []


def test_a_drive_with_almost_nothing_in_it():
    """One signal, no car, nothing qualified; an empty note; excursions and typed weather elsewhere."""
    ask = hold("h", 90, 'road_speed = { min = "70 km/h", max = "90 km/h" }')
    s = subject(ask, {"road_speed": series(2, 20, const(80))}, car=None)
    text = html(s)
    assert Tree(text).open == []
    assert "Nothing qualified yet" in text


def test_lines_break_at_what_is_not_known():
    """And a lone value is a dot."""
    f = Frame(0, 10, 0, 10, 100)
    x, y = np.array([0.0, 1, 2, 3, 4]), np.array([0.0, 10, np.nan, 5, np.nan])
    assert path(f, x, y, "t") == '<path class="t" d="M0 100L48 0M144 50L144 50"/>'
    assert path(f, x, x * np.nan, "t") == area(f, x, x * np.nan, x, "t") == ""
    assert n(-0.04) == "0"
    assert n(3.96) == "4"


@pytest.mark.parametrize(
    ("low", "high", "found"),
    [(0, 10, [0, 2, 4, 6, 8, 10]), (2200, 4600, [2500, 3000, 3500, 4000, 4500]),
     (0.86, 0.88, [0.86, 0.865, 0.87, 0.875, 0.88]),
     (5, 5, []), (0, float("inf"), [])],
)  # fmt: skip
def test_round_ticks(low, high, found):
    assert ticks(low, high) == pytest.approx(found)


def test_a_range_has_air_and_a_least_height():
    assert padded([]) == (0, 1)
    low, high = padded([5.0, 5.0], least=4)
    assert (low, high) == (pytest.approx(3), pytest.approx(7))


@pytest.mark.browser
def test_it_fits_a_phone_and_paper(browser, good, tmp_path):
    """No sideways scroll at 320 and 390 px; axe finds nothing, light or dark; prints on A4 and letter, scriptless."""
    file = tmp_path / "report.html"
    file.write_text(good, encoding="utf-8")
    for width, scheme in ((320, "light"), (390, "dark"), (1280, "light")):
        context = browser.new_context(viewport={"width": width, "height": 844}, color_scheme=scheme)
        page = context.new_page()
        page.goto(file.as_uri())
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        context.close()
    for scheme in ("light", "dark"):
        context = browser.new_context(color_scheme=scheme)
        page = context.new_page()
        page.goto(file.as_uri())
        assert [v["id"] for v in Axe().run(page).response["violations"]] == []
        context.close()
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(file.as_uri())
    for paper in ("A4", "Letter"):
        pages = len(re.findall(rb"/Type\s*/Page[^s]", page.pdf(format=paper)))
        assert 5 <= pages <= 14
    context.close()


def test_an_excursion_is_marked_and_commanded_values_are_dashed():
    """What grace excused is drawn under the lane; a commanded value stands beside its measured one."""
    dip = lambda t: np.where((t > 20) & (t < 20.8), 92.0, 80.0)  # noqa: E731 - shorter than a def
    s = subject(hold("h", 30, 'road_speed = { min = "70 km/h", max = "90 km/h" }', 'grace = "1 s"'),
                {"road_speed": series(4, 60, dip)})  # fmt: skip
    assert 'class="out"' in html(s)
    way = lambda t: np.interp(t, [5, 15], [1500, 4500])  # noqa: E731 - shorter than a def
    text = html(subject(sweep("p", "engine_speed", "2000 rpm", "4000 rpm"), {
        "engine_speed": series(10, 30, way), "throttle": series(10, 30, const(80)),
        "commanded_throttle": series(10, 30, const(82)),
    }, car=None))  # fmt: skip
    assert 'class="th two"' in text
    assert "dashed: throttle, commanded" in text
    assert "car&#x27;s mass is not known" in text


def test_wanted_cells_have_one_border():
    """Around the whole of them, not around each."""
    drawn = _outline([[True, True], [False, True]], 0, 10, 10)
    assert drawn.count("M") == 8
    assert _outline([[False]], 0, 10, 10) == ""


def test_german_figures_have_a_comma_and_drawings_stay(good):
    """Cells and labels are written as the language writes them; what draws and dresses is the same to the byte."""
    catalogue = default_catalogue()
    text = html(given_subject(
        load_recipe(ROOT / "demo-recipe.toml", catalogue), read_table(ROOT / "everything-qualifies.csv", catalogue),
        catalogue, load_vehicle(ROOT / "demo-vehicle.toml"), name="everything-qualifies", words=load_words("de"),
    ))  # fmt: skip
    shown = re.sub(r"<style.*?</style>", "", text, flags=re.DOTALL)
    pieces = [piece for piece in re.findall(r">([^<]+)<", shown) if "gap of more than" not in piece]
    assert [piece for piece in pieces if re.search(r"(?<![\d.])\d+\.\d+(?![\d.])", piece)] == []
    assert sum(bool(re.fullmatch(r"\d+,\d+", piece)) for piece in pieces) > 50
    assert re.findall(r' d="[^"]+"', text) == re.findall(r' d="[^"]+"', good)
