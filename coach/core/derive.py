"""Derived signals: what a derivation must offer, in a step form and an array form that agree sample for sample.

A derived signal has a sample whenever an input has one, from inputs that are all fresh. Flags travel with values.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

OK, AT_CEILING, AT_FLOOR, OUT_OF_RANGE, UNREADABLE = range(5)
"""Flags of a sample: readable; at least this; at most this; outside the plausible range; no value."""


@dataclass(slots=True)
class Held:
    """The last sample of an input."""

    t_us: int
    value: float
    flag: int


@dataclass(frozen=True, slots=True)
class Derived:
    """A sample of a derived signal."""

    value: float
    flag: int


@dataclass(frozen=True, slots=True)
class Cut:
    """No sample: what was said last holds no longer than `until_us`, because of what is so since `since_us`."""

    until_us: int
    since_us: int


@dataclass(slots=True)
class Feed:
    """All samples of one signal, measured or derived, as arrays of one length n.

    Attributes:
        t_us: int64, strictly increasing.
        value: float64.
        flag: uint8, the flags above.
        inputs: the measured signals it rests on (itself, if measured).
        input_t_us: for each input, int64 stamps of the input's sample that was used.
        until_us, since_us: int64 or None; where a `Cut` follows a sample, its two stamps, else the largest int64.
    """

    t_us: NDArray[np.int64]
    value: NDArray[np.float64]
    flag: NDArray[np.uint8]
    inputs: tuple[str, ...]
    input_t_us: tuple[NDArray[np.int64], ...]
    until_us: NDArray[np.int64] | None = None
    since_us: NDArray[np.int64] | None = None


class Stepper(Protocol):
    """The step form: state of one drive."""

    def step(self, t_us: int, held: Sequence[Held], fresh: Sequence[bool]) -> Derived | Cut | None:
        """Called at an instant in which at least one input, all of them fresh, has a sample.

        Args:
            held: for each input its last sample (stamp at most `t_us`).
            fresh: for each input whether that sample is of this very instant.
        """
        ...


class Derivation(Protocol):
    """How one derived signal comes from measured ones."""

    @property
    def name(self) -> str:
        """The derived signal."""
        ...

    @property
    def inputs(self) -> tuple[str, ...]:
        """Measured signals, in the order in which `held` has them."""
        ...

    def stepper(self) -> Stepper:
        """A fresh step form."""
        ...

    def array(self, feeds: Sequence[Feed], fresh_us: Sequence[int]) -> Feed:
        """The array form over whole feeds of the inputs; `fresh_us` is how old each input may be."""
        ...
