"""What the drives take stands under their list on the laptop, as the data folder says."""

from __future__ import annotations

import pytest

from coach.store.keeping import room

pytestmark = pytest.mark.browser


def test_the_room_that_drives_take_is_said_under_their_list(done, phone):
    """Megabytes, and gigabytes where it is more; the figure is the store's."""
    opened = phone(done, "#/drives", worker=False)
    line = opened.page.locator(".room")
    line.wait_for(state="visible")
    megabytes = room(done.services.store.folder).total / 1e6
    said = f"{megabytes:.1f} MB" if megabytes < 10 else f"{megabytes:.0f} MB"
    assert line.inner_text().startswith(f"The drives take {said} on this laptop; ")
    assert line.inner_text().endswith(" GB are free.")
    assert opened.complaints == []
