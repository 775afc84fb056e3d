"""A simulated drive, step by step: driver, car, sensors and poll joined. `simulate` makes it a recording at once."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from random import Random

from coach.recording import Recording, from_pairs
from coach.sources.base import Back, Instant, Lost, SourceEvent
from coach.sources.simulator.car import STEP_US, Car, Motion
from coach.sources.simulator.driver import Driver, Phase
from coach.sources.simulator.sensors import DEFAULT_BATCHES, Batch, Poll, Sensors

LOST_AFTER_US = 1_000_000
"""With the link down this long, the source says that it is lost."""


def events(
    script: Sequence[Phase], car: Car, seed: int, batches: tuple[Batch, ...] = DEFAULT_BATCHES
) -> Iterator[tuple[int, SourceEvent]]:
    """What a drive yields, with the time at which it happens: instants, and the loss and return of the link.

    The same arguments give the same events on every machine: `random.Random` promises its numbers, and the model
    uses no function that a mathematics library may round its own way.

    Args:
        script: what the driver does.
        car: the car.
        seed: of the driver's wander, the sensors' noise and the poll's jitter.
        batches: what is asked for, and how often.
    """
    motion = Motion(car)
    driver = Driver(script, car, motion.now, Random(seed))
    sensors, poll = Sensors(car, Random(seed + 1)), Poll(batches, Random(seed + 2))
    now_us, start_us, down_us, lost = 0, None, None, False
    for controls in driver.steps():
        state = motion.step(controls)
        sensors.follow(state)
        if controls.link:
            down_us = None
        elif down_us is None:
            down_us = now_us
        for stamp_us, values in poll.answers(now_us, state, sensors, link=controls.link):
            if start_us is None:
                start_us = stamp_us
            if lost:
                lost = False
                yield stamp_us - start_us, Back()
            yield stamp_us - start_us, Instant(stamp_us - start_us, values)
        if not lost and down_us is not None and now_us - down_us >= LOST_AFTER_US:
            lost = True
            yield now_us - (start_us or 0), Lost("the link does not answer")
        now_us += STEP_US


def simulate(script: Sequence[Phase], car: Car, seed: int, batches: tuple[Batch, ...] = DEFAULT_BATCHES) -> Recording:
    """A whole drive as a recording; arguments as for `events`. Nobody's words are recorded in it."""
    samples = (
        (event.t_us, name, value)
        for _, event in events(script, car, seed, batches)
        if isinstance(event, Instant)
        for name, value in event.values.items()
    )
    return from_pairs(samples, meta={"simulated": True, "seed": seed})
