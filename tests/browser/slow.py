"""Makes the page's machine slow and its answers late, when asked for: whatever a test does not wait for fails then.

`COACH_SLOW=4` in front of a test run: a processor a quarter as fast, and every answer up to 0.4 s late, by chance.
"""

from __future__ import annotations

import os
import random
import time
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from playwright.sync_api import Page

SLOW = int(os.environ.get("COACH_SLOW") or "0")
LATE_S = 0.1
"""The longest delay of an answer, for each time slower."""
_chance = random.Random()


def hold_back() -> None:
    """Comes late, where everything is to be slow."""
    if SLOW:
        time.sleep(_chance.uniform(0, LATE_S * SLOW))


def slow_down(page: Page) -> None:
    """Gives a page less of the processor, where everything is to be slow."""
    if SLOW:
        page.context.new_cdp_session(page).send("Emulation.setCPUThrottlingRate", {"rate": SLOW})
