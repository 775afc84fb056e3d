"""A finished drive as a review looks at it, whether from the store, a bundle or a table."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from coach.advice.readout import Readouts
from coach.core.afterwards import judge_recording
from coach.core.events import Alarm, Attempt, Code, Collected, Event
from coach.core.spec import Capture, JudgePlan
from coach.errors import NotFound
from coach.plan.resolve import choose
from coach.recipe import CaptureAsked, Recipe, parse_recipe
from coach.recording import Note, Recording, Series
from coach.review.derived import cut, series_of
from coach.review.judging import judge_against
from coach.review.smooth import readable
from coach.review.weather import Weather
from coach.shown import METRIC, Units
from coach.signals import Catalogue, Signal
from coach.store.planjson import load_catalogue, load_plan
from coach.store.reading import Reader
from coach.vehicle import Vehicle, parse_vehicle
from coach.words import Words, load_words


@dataclass
class Subject:
    """One drive.

    Attributes:
        id, name, note: what it is called in addresses, and by people; the driver's words.
        started_wall_us: wall clock at its first sample, or None.
        attempts: by capture, in order.
        collected_us: by capture, what the pieces of a collection summed up to once it was complete.
        identity: what the car said of itself, JSON-able, empty where nobody asked; declared facts are among the marks.
        typed: weather that a person typed in.
    """

    id: str
    recipe: Recipe
    recording: Recording
    catalogue: Catalogue
    plan: JudgePlan
    attempts: Mapping[str, tuple[Attempt, ...]]
    alarms: tuple[Alarm, ...] = ()
    collected_us: Mapping[str, int] = field(default_factory=dict)
    notes: tuple[Note, ...] = ()
    vehicle: Vehicle | None = None
    vehicle_name: str | None = None
    name: str = ""
    note: str = ""
    started_wall_us: int | None = None
    identity: Mapping[str, Any] = field(default_factory=dict)
    typed: Weather = field(default_factory=Weather)
    words: Words = field(default_factory=load_words)
    _series: dict[str, Series] = field(default_factory=dict, repr=False)

    @property
    def units(self) -> Units:
        """What its people read."""
        return METRIC if self.vehicle is None else self.vehicle.units

    @property
    def readouts(self) -> Readouts:
        """Signals in their units."""
        return Readouts(self.catalogue, self.words, self.units)

    def series(self, name: str) -> Series:
        """All samples of a signal; unreadable and implausible ones are NaN; empty where there is none."""
        if name not in self._series:
            measured = [n for n, x in self.recording.series.items() if len(x)]
            way = choose(name, (), self.vehicle, measured)
            s = series_of(self.plan, self.recording, name, way, self.catalogue)
            signal = self.catalogue.signals.get(name)
            if signal is not None and len(s):
                s = Series(s.t_us, np.where((s.value >= signal.low) & (s.value <= signal.high), s.value, np.nan))
            self._series[name] = s
        return self._series[name]

    def good(self, name: str, first_us: int, last_us: int) -> Series:
        """The readable samples of a signal between two times, both inclusive."""
        return readable(cut(self.series(name), first_us, last_us))

    def first_of(self, *names: str) -> str | None:
        """The first of the signals that the drive has."""
        return next((n for n in names if len(self.series(n))), None)

    def signal(self, name: str) -> Signal:
        """A signal's entry; a bare one for a signal that the catalogue does not know."""
        found = self.catalogue.signals.get(name)
        return found or Signal(name, name.replace("_", " ").capitalize(), name, "", "ratio", -1e308, 1e308)

    def title(self, name: str) -> str:
        """A signal's title, in the language of the words."""
        return self.words.title(self.signal(name))

    def short(self, name: str) -> str:
        """A signal's short name, in the language of the words."""
        return self.words.short(self.signal(name))

    def in_words(self, words: Words) -> Subject:
        """The same drive, told in another language; nothing is read or judged again."""
        return self if words.language == self.words.language else replace(self, words=words)

    def capture(self, name: str) -> tuple[CaptureAsked, Capture]:
        """A capture as asked and as judged. Raises NotFound."""
        asked = next((c for c in self.recipe.captures if c.id == name), None)
        judged = next((c for c in self.plan.captures if c.id == name), None)
        if asked is None or judged is None:
            raise NotFound("the recipe of this drive has no such capture", where=name)
        return asked, judged

    def attempt(self, capture: str, number: int) -> Attempt:
        """An attempt. Raises NotFound."""
        self.capture(capture)
        found = next((a for a in self.attempts.get(capture, ()) if a.number == number), None)
        if found is None:
            raise NotFound("there is no such attempt, or it is not over yet", where=f"{capture}, {number}")
        return found

    def secured(self, capture: str) -> list[Attempt]:
        """The attempts of a capture that qualify, in order."""
        return [a for a in self.attempts.get(capture, ()) if a.secured_us is not None]

    def asked_hz(self, name: str) -> float | None:
        """The highest rate at which any capture wants a signal recorded."""
        return max((a.rate_hz for c in self.plan.captures for a in c.record if a.signal == name), default=None)

    def median(self, name: str) -> float | None:
        """The median of a signal over the drive, or None."""
        value = readable(self.series(name)).value
        return float(np.median(value)) if len(value) else None

    @property
    def weather(self) -> Weather:
        """The air: typed in where somebody did, else from the car's own sensors.

        Temperature is that of the air outside; without such a sensor the lowest of the intake air, which is at best
        as cool as the air outside.
        """
        typed = self.typed
        pressure, p_from = typed.pressure_kpa, "typed"
        if pressure is None:
            pressure, p_from = self.median("barometric_pressure"), "barometric_pressure"
        temperature, t_from = typed.temperature_c, "typed"
        if temperature is None:
            temperature, t_from = self.median("ambient_temp"), "ambient_temp"
        if temperature is None:
            intake = readable(self.series("intake_temp")).value
            temperature, t_from = (float(intake.min()) if len(intake) else None), "intake_temp"
        return Weather(
            pressure, temperature, typed.humidity_pct, "" if pressure is None else p_from,
            "" if temperature is None else t_from,
        )  # fmt: skip


def identity_part(source: Mapping[str, Any]) -> dict[str, Any]:
    """What a drive's source tells of the car: units, codes, what a person said was flashed, warnings said before it."""
    meta = source.get("meta")
    found = dict(meta) if isinstance(meta, Mapping) else {}
    return found | {k: source[k] for k in ("flashed", "warnings") if source.get(k)}


def _collected(events: tuple[Event, ...]) -> dict[str, int]:
    return {e.capture: e.total_us for e in events if isinstance(e, Collected)}


def given_subject(
    recipe: Recipe, recording: Recording, catalogue: Catalogue, vehicle: Vehicle | None = None, *, name: str = "drive",
    vehicle_name: str | None = None, plan: JudgePlan | None = None, **more: Any,
) -> Subject:  # fmt: skip
    """A subject from a table or a bundle: judged here and now.

    Args:
        recipe: what was asked for.
        recording: the drive.
        catalogue: the signals.
        vehicle: the car, where its file is there.
        name: what the drive is called.
        vehicle_name: what the car's file is called, where its label is missing.
        plan: what it was judged by when it was recorded; made anew from the recipe if left out.
        more: further attributes of `Subject`, as `identity`, `note`, `typed`.
    """
    if plan is None:
        plan, verdict = judge_against(recipe, recording, catalogue, vehicle)
    else:
        verdict = judge_recording(plan, recording)
    return Subject(
        id=name, recipe=recipe, recording=recording, catalogue=catalogue, plan=plan, attempts=verdict.attempts,
        collected_us=_collected(verdict.events), alarms=verdict.alarms, notes=(*recording.notes, *verdict.notes),
        vehicle=vehicle, vehicle_name=vehicle_name, name=more.pop("label", ""),
        started_wall_us=recording.wall_us, **more,
    )  # fmt: skip


def stored_subject(reader: Reader, drive: str) -> Subject:
    """A drive of the store, judged by the plan and the rules that it was recorded with. Raises NotFound, StoreError."""
    row = reader.drive(drive)
    catalogue, plan = load_catalogue(row.catalogue), load_plan(row.plan)
    recording = reader.recording(drive)
    verdict = judge_recording(plan, recording)
    attempts = verdict.attempts
    if row.phase != "ended":
        # The drive goes on after what is stored: an attempt that its end seems to have closed is not over.
        attempts = {
            name: tuple(a for a in some if a.reason is None or a.reason.code is not Code.DRIVE_ENDED)
            for name, some in attempts.items()
        }
    label = reader.label(drive)
    meta = row.source.get("meta")
    told = meta.get("notes", []) if isinstance(meta, dict) else []
    source_notes = tuple(Note(n["code"], n["text"], n.get("signal"), n.get("count", 1)) for n in told)
    return Subject(
        id=drive,
        recipe=parse_recipe(row.recipe, name=row.recipe_name, catalogue=catalogue),
        recording=replace(recording, notes=(*source_notes, *recording.notes)),
        catalogue=catalogue,
        plan=plan,
        attempts=attempts,
        collected_us=_collected(verdict.events),
        alarms=verdict.alarms,
        notes=(*source_notes, *recording.notes, *verdict.notes),
        vehicle=None if row.vehicle is None else parse_vehicle(row.vehicle),
        vehicle_name=row.vehicle_name,
        name=label.name,
        note=label.note,
        started_wall_us=row.anchor_wall_us or row.created_wall_us,
        identity=identity_part(row.source),
        typed=Weather(label.pressure_kpa, label.temperature_c, label.humidity_pct),
    )
