"""The tones as they sound: rendered by the browser's own audio, looked at as samples.

Urgency cues: base of at least 1000 Hz, at least 3 harmonics, gaps of at most 125 ms, full level for at least 0.7 of the
pulse (Singer, Lerner, Kellman, Robinson, NHTSA, 2015; the figures from memory). Only the alarm of a limit may meet all.
"""

from __future__ import annotations

import base64
from itertools import pairwise

import numpy as np
import pytest

RATE = 48_000
RENDER = """async ([name, db, cut]) => {
  const { putTone, lengthOf } = await import('/js/sound_tones.js');
  const context = new OfflineAudioContext(1, Math.ceil((lengthOf(name) / 1000 + 0.1) * 48000), 48000);
  const stop = putTone(context, context.destination, name, 0.02, db);
  if (cut) stop(cut);
  const samples = (await context.startRendering()).getChannelData(0);
  const bytes = new Uint8Array(samples.buffer);
  let text = '';
  for (let n = 0; n < bytes.length; n += 8192) text += String.fromCharCode(...bytes.subarray(n, n + 8192));
  return btoa(text);
}"""
TABLE = "async () => (await import('/js/sound_tones.js')).TONES"
START_S = 0.02


@pytest.fixture(scope="module")
def blank(browser, _one_server):
    page = browser.new_page()
    page.goto(f"{_one_server.url}/?light=day#/")
    yield page
    page.close()


@pytest.fixture(scope="module")
def table(blank):
    """The tones as the page has them."""
    return blank.evaluate(TABLE)


@pytest.fixture(scope="module")
def sound(blank):
    """Renders a tone: mono, 48 kHz, the tone begins at 20 ms."""
    kept = {}

    def render(name, db=0, cut=None):
        key = (name, db, cut)
        if key not in kept:
            kept[key] = np.frombuffer(base64.b64decode(blank.evaluate(RENDER, [name, db, cut])), dtype="<f4")
        return kept[key]

    return render


def part(samples, start_ms, ms):
    """The samples of one stretch of the tone."""
    first = round((START_S + start_ms / 1000) * RATE)
    return samples[first : first + round(ms / 1000 * RATE)]


def level(samples, hz):
    """Amplitude at one frequency, by correlation with it over a Hann window."""
    window = np.hanning(len(samples))
    t = np.arange(len(samples)) / RATE
    return 2 * abs(np.sum(samples * window * np.exp(-2j * np.pi * hz * t))) / window.sum()


def envelope(samples):
    """Peak level in each millisecond."""
    step = RATE // 1000
    return np.abs(samples[: len(samples) // step * step]).reshape(-1, step).max(axis=1)


def pulses(samples):
    """Stretches that sound, in ms: (from, to)."""
    on = envelope(samples) > 0.002
    edges = np.flatnonzero(np.diff(np.concatenate([[0], on.astype(int), [0]])))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))


# name: (pitch, ms) of each note, and the gap between them, as the specification of the sounds has them
ASKED = {
    "limit_passed": ([(1200, 140)] * 5, 80),
    "limit_ahead": ([(988, 150)] * 2, 150),
    "car_back": ([(587, 120), (784, 120)], 0),
    "secured": ([(660, 120), (880, 120), (1320, 320)], 0),
    "missed": ([(660, 160), (494, 260)], 0),
    "tick": ([(880, 30)], 0),
}


@pytest.mark.parametrize("name", ASKED)
def test_pitches_and_lengths_are_as_asked(sound, name):
    """Each note has its pitch as its strongest part, for as long as asked, and the silence after it."""
    samples = sound(name)
    run, gap = ASKED[name]
    at = 0
    for hz, ms in run:
        body = part(samples, at + 5, min(ms - 8, 60))
        spectrum = np.abs(np.fft.rfft(body * np.hanning(len(body)), 1 << 16))
        assert np.argmax(spectrum) * RATE / (1 << 16) == pytest.approx(hz, rel=0.01)
        at += ms + gap
    whole = at - gap
    assert np.abs(part(samples, whole + 2, 40)).max() < 1e-4
    if gap:
        assert len(pulses(samples)) == len(run)


def test_the_alarm_has_four_partials_in_their_strengths(sound):
    """1200, 2400, 3600, 4800 Hz at 1, .6, .4, .25."""
    body = part(sound("limit_passed"), 20, 100)
    first = level(body, 1200)
    assert [level(body, 1200 * n) / first for n in (2, 3, 4)] == pytest.approx([0.6, 0.4, 0.25], rel=0.03)


@pytest.mark.parametrize(
    ("name", "hz", "least"), [("limit_ahead", 988, 3), ("secured", 660, 2), ("missed", 660, 2), ("in_band", 880, 2)]
)
def test_every_tone_has_two_partials_or_more(sound, name, hz, least):
    """A single sine is hard to place and easily lost in road noise."""
    body = part(sound(name), 12, 80)
    first = level(body, hz)
    assert all(level(body, hz * n) > 0.1 * first for n in range(2, least + 1))


def test_half_done_is_two_pitches_together(sound):
    body = part(sound("half"), 10, 100)
    assert level(body, 1320) == pytest.approx(level(body, 880), rel=0.1)


@pytest.mark.parametrize(("name", "start", "end"), [("too_high", 780, 520), ("too_low", 520, 780)])
def test_a_correction_glides_the_way_to_go(sound, name, start, end):
    """Down when too high, up when too low, twice."""
    samples = sound(name)
    assert len(pulses(samples)) == 2
    for at in (0, 300):
        for begin, hz in ((12, start), (180, end)):
            body = part(samples, at + begin, 30)
            crossings = np.flatnonzero(np.diff(np.signbit(body)))
            measured = (len(crossings) - 1) / 2 / ((crossings[-1] - crossings[0]) / RATE)
            assert measured == pytest.approx(hz, rel=0.12)


def test_edges_are_soft(sound):
    """The alarm's pulses rise within 8 ms, the others within 10: no click."""
    alarm = envelope(part(sound("limit_passed"), 0, 140))
    assert alarm[9:130].min() > 0.9 * alarm.max()
    assert alarm[0] < 0.3 * alarm.max()
    won = envelope(part(sound("secured"), 240, 320))
    assert won.argmax() in range(8, 13)
    assert won[300] < 0.1 * won.max()


def test_levels_are_what_the_table_says(sound):
    """A tick is 12 dB under a note of the same pitch; ducked is 12 dB down; nothing clips."""
    quiet = sound("too_high", -12)
    assert np.abs(quiet).max() / np.abs(sound("too_high")).max() == pytest.approx(10 ** (-12 / 20), rel=0.02)
    tick, band = np.abs(sound("tick")).max(), np.abs(sound("in_band")).max()
    assert tick / band == pytest.approx(10 ** (-12 / 20), rel=0.1)
    assert all(np.abs(sound(name)).max() < 1 for name in ASKED)


def test_a_tone_that_is_cut_fades_within_20_ms(sound):
    cut = sound("limit_passed", 0, 0.3)
    assert np.abs(cut[round(0.321 * RATE) :]).max() < 1e-6
    before = np.abs(cut[round(0.28 * RATE) : round(0.3 * RATE)]).max()
    assert np.abs(cut[round(0.3 * RATE) : round(0.31 * RATE)]).max() > 0.3 * before


def is_urgent(samples, hz):
    """Whether a rendered tone meets all four cues of an urgent alarm."""
    found = pulses(samples)
    start, end = found[0]
    body = samples[start * RATE // 1000 + 400 : end * RATE // 1000 - 400]
    harmonics = sum(level(body, hz * n) > 0.05 * level(body, hz) for n in range(1, 6))
    gaps = [b[0] - a[1] for a, b in pairwise(found)]
    peaks = envelope(samples)[start:end]
    full = (peaks > 0.89 * peaks.max()).mean()  # within 1 dB
    return hz >= 1000 and harmonics >= 3 and bool(gaps) and max(gaps) <= 125 and full >= 0.7


def test_only_the_alarm_sounds_like_an_urgent_alarm(sound, table):
    """All four cues for a limit passed; no other tone, at any of its pitches, meets them all."""
    urgent = {name for name, tone in table.items() for note in tone["notes"] if is_urgent(sound(name), note["hz"])}
    assert urgent == {"limit_passed"}


def test_priorities_stand_in_the_order_of_danger(table):
    """Limit passed before limit ahead before a lost link before corrections before outcomes before the rest."""
    order = ["limit_passed", "limit_ahead", "car_lost", "too_high", "secured", "in_band"]
    assert [table[name]["priority"] for name in order] == [1, 2, 3, 4, 5, 6]
    assert {table[name]["priority"] for name in ("car_back", "too_low", "missed")} == {3, 4, 5}
    assert [table["limit_passed"]["vibrate"], table["too_low"]["vibrate"]] == [[400, 100, 400], [60, 60, 60]]
