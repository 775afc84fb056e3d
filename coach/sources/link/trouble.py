"""What can go wrong on a link, as codes with one plain sentence each; nothing here talks to anything."""

from __future__ import annotations

from dataclasses import dataclass

from coach.errors import CoachError

SENTENCES = {
    "adapter_reset": "The adapter started again in the middle; is it loose in its socket, or is the battery weak?",
    "broken_frame": "An answer came in pieces that do not fit together.",
    "buffer_full": "The adapter's memory overflowed; a slower adapter needs fewer signals at a time.",
    "bus_busy": "The car's diagnostic bus is busy: somebody else is talking on it.",
    "bus_error": "The adapter reports a fault on the car's diagnostic bus: {detail}.",
    "cannot_open": "The adapter cannot be reached: {detail}.",
    "disconnected": "The connection to the adapter is gone: {detail}.",
    "foreign": "Another control unit answered, the engine's did not.",
    "garbage": "The adapter sent something that is no answer.",
    "negative": "The car refuses the request: {detail}.",
    "no_data": "The car does not answer what is asked; is the ignition on?",
    "no_prompt": "The adapter began an answer and did not finish it.",
    "not_addressed": "This car's control units cannot be addressed as {detail}: its headers are of another kind.",
    "not_understood": "The adapter does not understand the command {detail}.",
    "occupied": "Another tester or program is talking to the car, so asking has stopped. Unplug it or close it; "
    "asking goes on once it is quiet.",
    "other_tester": "Somebody else asks the car at the same time: an answer came to a question that was not ours.",
    "pending": "The car asks for more time and then does not answer.",
    "short": "An answer is shorter than it says.",
    "silent": "The adapter does not answer.",
    "stopped": "The adapter was interrupted while it listened to the car.",
    "unable_to_connect": "The adapter finds no car; is the ignition on, and the adapter firmly in its socket?",
    "wrong_length": "An answer is {detail}.",
    "wrong_mode": "The answer belongs to another kind of request.",
    "wrong_parameter": "The answer belongs to another parameter.",
}
"""Code to sentence. `{detail}` is what the adapter or the system said."""

NEGATIVE = {
    0x10: "no reason given",
    0x11: "it does not know this kind of request",
    0x12: "it does not know this parameter",
    0x13: "the request has a wrong length",
    0x21: "it is busy",
    0x22: "the conditions are not right now",
    0x31: "it does not have this identifier",
    0x33: "it is locked",
    0x78: "it needs more time",
    0x7F: "not in this state",
}
"""What a negative answer's third byte says (ISO 14229-1, from memory)."""


class Failure(CoachError, ConnectionError):
    """One request that brought no usable answer, or a connection that is not there.

    Attributes:
        code: a key of `SENTENCES`.
    """

    def __init__(self, code: str, detail: str = "", *, where: str | None = None) -> None:
        super().__init__(SENTENCES[code].format(detail=detail or "no details"), where=where)
        self.code = code
        self.detail = detail


class Stopped(Exception):
    """The link was told to stop."""


@dataclass(frozen=True, slots=True)
class Trouble:
    """A failure at a time of the drive (microseconds since its first sample; before it 0)."""

    t_us: int
    code: str
    text: str


def refusal(number: int) -> str:
    """A negative answer's reason in words."""
    return f"{NEGATIVE.get(number, 'reason')} ({number:02X})"
