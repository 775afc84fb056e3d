"""What is heard when: priorities, cutting, ducking, repeats, one utterance waiting. Times are given: it has no clock.

The rules and figures are the project's own (the sound table in docs/explanation/what-you-hear.md).
"""

from __future__ import annotations

import pytest

from tests.browser import faces

BASE = {
    "alarm": "", "inside": False, "ahead": False, "link": "up", "phoneLost": False, "off": "", "outcome": "",
    "attempt": "", "sweep": False, "progress": 0, "left": None, "capture": "part-load", "code": "x", "speech": "",
    "speechId": 0, "unit": "", "weight": 6, "words": {"lost": "Lost the laptop.", "back": "Laptop is back."},
}  # fmt: skip
ALL = {"tones": True, "speech": "all", "vibrate": False, "units": "once"}
RUN = """async ([steps, wishes, base, silent]) => {
  const { SoundPlan } = await import('/js/sound_plan.js');
  const plan = new SoundPlan(wishes);
  const out = [];
  const take = (t, commands) => commands.forEach((c) => out.push([t, c.do, c.name ?? c.text ?? '', c.db ?? 0]));
  plan.hear({ ...base, speechId: -1 }, 0);
  let at = 0;
  let last = { ...base, speechId: -1 };
  for (const [t, change] of steps) {
    for (; at < t; at += 50) {
      // As the server does: the same state again and again.
      take(at, silent || at % 500 ? plan.tick(at) : plan.hear(last, at));
    }
    if (change === 'ended') { plan.ended(); take(t, plan.tick(t)); }
    else if (change) take(t, plan.hear((last = { ...base, ...change }), t));
    at = Math.max(at, t);
  }
  return out;
}"""


@pytest.fixture(scope="module")
def blank(browser, _one_server):
    """One page for all plans."""
    page = browser.new_page()
    page.goto(f"{_one_server.url}/?light=day#/")
    yield page
    page.close()


@pytest.fixture
def plan(blank):
    """Feeds `(ms, what differs from a quiet drive)` or `(ms, "ended")`; gives `(ms, what, name, dB)`."""

    def run(*steps, silent=False, **wishes):
        return [tuple(one) for one in blank.evaluate(RUN, [steps, ALL | wishes, BASE, silent])]

    return run


def tones(out):
    return [(t, name) for t, what, name, _ in out if what == "tone"]


def said(out):
    return [(t, name) for t, what, name, _ in out if what == "say"]


ALARM = {"alarm": "a", "code": "limit_pedal", "weight": 1, "speech": "Lift off the pedal.", "speechId": 5}
SLOW = {"off": "high", "code": "steer_speed_down", "weight": 4, "speech": "Slow down, three.", "speechId": 2}
HOLD = {"attempt": "1", "code": "hold_speed", "speech": "Good. Hold this speed.", "speechId": 3}


def test_an_alarm_sounds_every_2600_ms_for_10_s_at_most(plan):
    """The first at once, then every 2.6 s; after 10 s people have heard it."""
    assert tones(plan((100, ALARM), (20_000, ALARM))) == [
        (100, "limit_passed"), (2_700, "limit_passed"), (5_300, "limit_passed"), (7_900, "limit_passed"),
    ]  # fmt: skip


def test_an_alarm_stops_when_the_value_is_inside_and_comes_again_when_it_is_not(plan):
    inside = ALARM | {"inside": True}
    out = tones(plan((100, ALARM), (1_200, inside), (9_000, inside), (9_050, ALARM), (9_100, inside), (15_000, inside)))
    assert [t for t, _ in out] == [100, 9_050]


def test_an_alarm_hushes_the_voice_and_its_words_come_150_ms_after_the_burst(plan):
    """The burst of five pulses of 140 ms with gaps of 80 ms lasts 1020 ms."""
    out = plan((100, SLOW), (1_000, SLOW), (1_050, ALARM), (3_000, ALARM))
    assert (1_050, "hush", "", 0) in out
    assert said(out)[-1] == (1_050 + 1_020 + 150 + 30, "Lift off the pedal.")  # at the next tick of 50 ms


def test_a_higher_tone_cuts_a_lower_one(plan):
    out = plan((100, SLOW), (200, ALARM), (400, ALARM))
    assert [(t, what, name) for t, what, name, _ in out][:4] == [
        (100, "tone", "too_high"), (200, "cut", ""), (200, "tone", "limit_passed"),
    ]  # fmt: skip


def test_a_lower_tone_waits_for_a_higher_one_a_second_at_most(plan):
    """The burst lasts 1020 ms: a tone that came with it is dropped, one that came later follows it."""
    both = ALARM | {"outcome": "missed x"}
    assert "missed" not in [name for _, name in tones(plan((100, both), (3_000, both)))]
    out = tones(plan((100, ALARM), (700, both), (2_000, both)))
    assert out == [(100, "limit_passed"), (1_150, "missed")]


def test_a_limit_ahead_sounds_every_900_ms_while_it_lasts(plan):
    ahead = {"ahead": True, "code": "limit_ahead", "weight": 2, "speech": "Ease off now.", "speechId": 4}
    out = plan((100, ahead), (2_000, ahead), (2_050, {"speechId": 4}), (6_000, {"speechId": 4}))
    assert tones(out) == [(100, "limit_ahead"), (1_000, "limit_ahead"), (1_900, "limit_ahead")]
    assert said(out) == [(700, "Ease off now.")]


def test_a_correction_glides_three_times_3_s_apart(plan):
    assert tones(plan((100, SLOW), (20_000, SLOW))) == [(100, "too_high"), (3_100, "too_high"), (6_100, "too_high")]


def test_too_high_and_too_low_are_two_tones(plan):
    low = SLOW | {"off": "low"}
    assert tones(plan((100, SLOW), (1_000, low), (2_000, low))) == [(100, "too_high"), (1_000, "too_low")]


def test_a_correction_is_12_db_quieter_under_speech(plan):
    """Tones and words of a hold first; then it goes wrong while the voice speaks."""
    out = plan((100, HOLD), (900, HOLD), (950, HOLD | SLOW), (1_500, SLOW))
    assert said(out) == [(550, "Good. Hold this speed.")]
    assert (950, "tone", "too_high", -12) in out


def test_small_tones_wait_for_speech_a_second_and_are_dropped(plan):
    won = HOLD | {"outcome": "secured x"}
    assert tones(plan((100, HOLD), (900, HOLD), (1_000, won), (4_000, won), (4_050, "ended"), (5_000, won)))[1:] == []
    out = tones(plan((100, HOLD), (900, HOLD), (1_000, won), (1_500, "ended"), (3_000, won)))
    assert out[1:] == [(1_500, "secured")]


def test_in_the_band_sounds_once_an_attempt_and_5_s_apart(plan):
    again = [(1_000, {"attempt": ""}), (2_000, {"attempt": "2"}), (7_000, {"attempt": ""}), (7_050, {"attempt": "3"})]
    assert tones(plan((100, {"attempt": "1"}), *again, (8_000, {"attempt": "3"}))) == [
        (100, "in_band"), (7_050, "in_band"),
    ]  # fmt: skip


def test_half_done_and_the_last_three_seconds(plan):
    """Half once; then a tick each second, three in all; nothing of that in a sweep."""
    steps = [(100, {"attempt": "1", "progress": 0.4, "left": 60})]
    steps += [(1_000, {"attempt": "1", "progress": 0.51, "left": 49})]
    steps += [(2_000 + 1_000 * n, {"attempt": "1", "progress": 0.9, "left": 5 - n}) for n in range(6)]
    assert [name for _, name in tones(plan(*steps))][1:] == ["half", "tick", "tick", "tick"]
    pulls = [(t, step | {"sweep": True}) for t, step in steps]
    assert [name for _, name in tones(plan(*pulls))][1:] == []


def test_lost_and_back_of_car_and_laptop(plan):
    lost = {"link": "lost", "code": "lost_car", "weight": 3, "speech": "Lost the car. Just drive.", "speechId": 7}
    out = plan(
        (100, lost), (3_000, {"speechId": 7}), (6_000, {"speechId": 7, "phoneLost": True}), (9_000, {"speechId": 7})
    )
    assert tones(out) == [(100, "car_lost"), (3_000, "car_back"), (6_000, "car_lost"), (9_000, "car_back")]
    assert [text for _, text in said(out)] == ["Lost the car. Just drive.", "Lost the laptop."]
    late = plan((100, {"phoneLost": True}), (9_000, {}), (12_000, {}))
    assert [text for _, text in said(late)] == ["Lost the laptop.", "Laptop is back."]


def test_while_the_laptop_is_lost_nothing_is_repeated(plan):
    """The alarm of a drive that nobody hears of any more is not kept sounding."""
    out = tones(plan((100, ALARM), (500, ALARM | {"phoneLost": True}), (9_000, ALARM | {"phoneLost": True})))
    assert out == [(100, "limit_passed"), (1_150, "car_lost")]


def test_what_nobody_confirms_any_more_is_not_repeated(plan):
    """A page that hears no states (hidden, asleep) goes on for three seconds and no longer."""
    ahead = {"ahead": True, "code": "limit_ahead", "weight": 2}
    assert [t for t, _ in tones(plan((100, ahead), (9_000, None), silent=True))] == [100, 1_000, 1_900, 2_800]


def test_utterances_are_4_s_apart_and_the_newest_waits(plan):
    """Of three that come at once after the first, the last one is said."""

    def words(n):
        return {"code": "hold_speed", "speech": f"number {n}", "speechId": n + 10}

    out = said(
        plan((100, words(0)), (500, "ended"), (600, words(1)), (700, words(2)), (800, words(3)), (9_000, words(3)))
    )
    assert out == [(100, "number 0"), (4_100, "number 3")]


def test_what_is_no_longer_true_is_not_said(plan):
    """A correction that waited while the driver did it."""
    out = plan(
        (100, HOLD),
        (1_200, "ended"),
        (1_300, HOLD | SLOW),
        (2_000, HOLD | {"speechId": 2, "speech": "Slow down, three."}),
        (9_000, HOLD | {"speechId": 2}),
    )
    assert [text for _, text in said(out)] == ["Good. Hold this speed."]


def test_the_unit_follows_once_a_capture(plan):
    """As an utterance of its own, at once; again for another capture; always or never where that was chosen."""

    def at(n, capture="part-load"):
        return SLOW | {
            "off": "",
            "speechId": n,
            "speech": f"Slow down, {n}.",
            "unit": "kilometres an hour",
            "capture": capture,
        }

    steps = [
        (100, at(1)),
        (1_000, "ended"),
        (2_000, "ended"),
        (5_000, at(2)),
        (6_000, "ended"),
        (7_000, "ended"),
        (10_000, at(3, "other")),
        (11_000, "ended"),
        (13_000, at(3, "other")),
    ]
    unit = "kilometres an hour"
    assert [text for _, text in said(plan(*steps))] == ["Slow down, 1.", unit, "Slow down, 2.", "Slow down, 3.", unit]
    assert [text for _, text in said(plan(*steps, units="always"))].count(unit) == 3
    assert [text for _, text in said(plan(*steps, units="never"))].count(unit) == 0
    assert said(plan(*steps))[1][0] == 1_000


def test_choices_bite(plan):
    """No tones, alarms alone aloud, nothing aloud; vibration goes with each tone also when tones are off."""
    steps = [(100, HOLD), (5_000, HOLD | SLOW), (7_000, ALARM), (12_000, ALARM)]
    assert tones(plan(*steps, tones=False)) == []
    assert [text for _, text in said(plan(*steps, speech="alarms"))] == ["Lift off the pedal."]
    assert said(plan(*steps, speech="off")) == []
    felt = [t for t, what, *_ in plan(*steps, tones=False, vibrate=True) if what == "vibrate"]
    assert felt[:3] == [100, 5_000, 7_000]


def test_a_voice_that_never_ends_does_not_silence_the_next(plan):
    """Some browsers forget to say that an utterance ended: after 9 s it has."""
    out = said(plan((100, HOLD), (10_000, HOLD | SLOW), (12_000, HOLD | SLOW)))
    assert [text for _, text in out] == ["Good. Hold this speed.", "Slow down, three."]


HEARD = """async (live) => {
  const { heard } = await import('/js/sound_plan.js');
  return heard(live, { lost: false, age_s: 0, back: '', told: false }, { lost: '', back: '' });
}"""


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("hold", {"off": "", "attempt": "d1 part-load 1", "left": 72, "progress": 0.6, "weight": 6, "sweep": False}),
        ("steer", {"off": "high", "weight": 4}),
        ("steer-low", {"off": "low", "weight": 4}),
        ("gear", {"off": "", "attempt": ""}),
        ("warn", {"ahead": True, "weight": 2, "sweep": True}),
        ("limit", {"weight": 1, "inside": False}),
        ("secured", {"outcome": "secured part-load", "weight": 5}),
        ("lost-car", {"link": "lost", "weight": 3}),
        ("done", {"outcome": "secured ", "weight": 5, "attempt": ""}),
    ],
)
def test_a_live_state_is_heard_as_what_it_is(blank, name, expected):
    """What the server sends, as the plan takes it."""
    made = blank.evaluate(HEARD, faces.copy(name))
    assert {key: made[key] for key in expected} == expected
    assert bool(made["alarm"]) == (name == "limit")


def test_the_first_words_of_another_drive_are_new_words(blank):
    """Utterances are counted anew in each drive: the same number is not the same utterance."""
    one, other = faces.copy("hold"), faces.copy("hold")
    other["drive"]["id"] = "d2"
    ids = {blank.evaluate(HEARD, live)["speechId"] for live in (one, other)}
    assert len(ids) == 2


def test_a_drive_that_is_over_says_nothing(blank):
    over = faces.copy("limit")
    over["drive"]["phase"] = "ended"
    made = blank.evaluate(HEARD, over)
    assert (made["alarm"], made["speech"], made["attempt"]) == ("", "", "")


def test_an_alarm_drops_what_waited_to_be_said(plan):
    """Also the words of a lost link, which would have come next."""
    lost = {"link": "lost", "code": "lost_car", "weight": 3, "speech": "Lost the car.", "speechId": 7}
    mute = lost | {"alarm": "a"}
    assert said(plan((100, lost), (300, mute), (4_000, mute))) == []


def test_of_equal_weight_the_second_waits(plan):
    """Too high, and a moment later too low: one after the other, not over each other."""
    low = SLOW | {"off": "low"}
    assert tones(plan((100, SLOW), (300, low), (1_000, low))) == [(100, "too_high"), (650, "too_low")]
