"""What the adapter is set to, and the AT commands that set it. Nothing here reaches the car.

The dialect is the common one of AT/OBD adapters, from memory; what an outside client checks of it stands in the tests.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import ClassVar

NAME = "virtual adapter 1"
ABOUT = "a car that is not there"
UNKNOWN = "?"
OK = "OK"

PROTOCOLS = {
    0: "AUTO",
    1: "SAE J1850 PWM",
    2: "SAE J1850 VPW",
    3: "ISO 9141-2",
    4: "ISO 14230-4 (KWP 5BAUD)",
    5: "ISO 14230-4 (KWP FAST)",
    6: "ISO 15765-4 (CAN 11/500)",
    7: "ISO 15765-4 (CAN 29/500)",
    8: "ISO 15765-4 (CAN 11/250)",
    9: "ISO 15765-4 (CAN 29/250)",
}
"""By their common numbers."""


@dataclass(slots=True)
class Settings:
    """All that AT commands change. `protocol` is 0 for automatic; `found` is what a search came upon."""

    echo: bool = True
    linefeeds: bool = False
    spaces: bool = True
    headers: bool = False
    formatted: bool = True
    flow_control: bool = True
    responses: bool = True
    protocol: int = 0
    automatic: bool = True
    found: int | None = None
    timeout_s: float = 0.2
    header: str | None = None
    receive: str | None = None

    @property
    def in_use(self) -> int:
        """The protocol that a request would go out with; 0 before a search."""
        return self.found if self.found is not None else self.protocol


_HEX = "[0-9A-F]"
_Act = Callable[["Dialect", re.Match[str]], str]


def _switch(name: str) -> _Act:
    def act(dialect: Dialect, found: re.Match[str]) -> str:
        setattr(dialect.settings, name, found[1] == "1")
        return OK

    return act


def _set(name: str) -> _Act:
    def act(dialect: Dialect, found: re.Match[str]) -> str:
        setattr(dialect.settings, name, found[1] or None)
        return OK

    return act


@dataclass
class Dialect:
    """Takes AT commands and keeps the settings.

    Args:
        volts: what the supply is now; None leaves the command for it at 0.
    """

    volts: Callable[[], float | None]
    settings: Settings = field(default_factory=Settings)

    def reset(self) -> None:
        """All settings as after power came on."""
        self.settings = Settings()

    def command(self, text: str) -> str:
        """The answer to an AT command, given without blanks and in capitals."""
        for pattern, act in self._COMMANDS:
            if found := pattern.fullmatch(text):
                return act if isinstance(act, str) else act(self, found)
        return UNKNOWN

    def _reset(self, found: re.Match[str]) -> str:
        self.reset()
        return NAME

    def _defaults(self, found: re.Match[str]) -> str:
        """Everything but the protocol goes back to its default."""
        old = self.settings
        self.settings = Settings(protocol=old.protocol, automatic=old.automatic, found=old.found)
        return OK

    def _protocol(self, found: re.Match[str]) -> str:
        settings, number = self.settings, int(found[2])
        settings.protocol, settings.found = number, None
        settings.automatic = number == 0 or bool(found[1])
        settings.header = settings.receive = None
        return OK

    def _close(self, found: re.Match[str]) -> str:
        self.settings.found = None
        return OK

    def _number(self, found: re.Match[str]) -> str:
        return f"{'A' if self.settings.automatic else ''}{self.settings.in_use:X}"

    def _words(self, found: re.Match[str]) -> str:
        words = PROTOCOLS[self.settings.in_use]
        return f"AUTO, {words}" if self.settings.automatic and self.settings.in_use else words

    def _timeout(self, found: re.Match[str]) -> str:
        self.settings.timeout_s = (int(found[1], 16) or 0x32) * 0.004
        return OK

    def _volts(self, found: re.Match[str]) -> str:
        return f"{self.volts() or 0.0:.1f}V"

    # Commands that would write to the car, listen to all of the bus or change the adapter for good are left out: "?".
    _COMMANDS: ClassVar[list[tuple[re.Pattern[str], _Act | str]]] = [
        (re.compile(pattern), act)
        for pattern, act in (
            ("Z|WS", _reset),
            ("D", _defaults),
            ("I", NAME),
            ("@1", ABOUT),
            ("E([01])", _switch("echo")),
            ("L([01])", _switch("linefeeds")),
            ("S([01])", _switch("spaces")),
            ("H([01])", _switch("headers")),
            ("R([01])", _switch("responses")),
            ("CAF([01])", _switch("formatted")),
            ("CFC([01])", _switch("flow_control")),
            ("[ST]P(A?)([0-9])", _protocol),
            ("PC", _close),
            ("DP", _words),
            ("DPN", _number),
            ("RV", _volts),
            ("IGN", "ON"),
            (f"ST({_HEX}{{2}})", _timeout),
            (f"SH({_HEX}{{3}}|{_HEX}{{6}}|{_HEX}{{8}})", _set("header")),
            ("CRA((?:[0-9A-FX]{3}|[0-9A-FX]{8})?)", _set("receive")),
            ("AR()", _set("receive")),
            (f"AT[0-2]|AL|NL|M[01]|V[01]|KW[01]|JS|JE|TA{_HEX}{{2}}|SW{_HEX}{{2}}|SS|BI|CP{_HEX}{{2}}", OK),
            (f"FCSM[0-2]|FCSH(?:{_HEX}{{3}}|{_HEX}{{8}})|FCSD(?:{_HEX}{{2}}){{1,5}}", OK),
        )
    ]
