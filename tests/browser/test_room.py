"""What the drives take stands under their list on the laptop, as the data folder says."""

from __future__ import annotations

import pytest

from coach.store.keeping import room

pytestmark = pytest.mark.browser


def megabytes(size):
    """As the page says it."""
    return f"{size / 1e6:.1f} MB" if size < 10e6 else f"{size / 1e6:.0f} MB"


def test_the_room_that_drives_take_is_said_under_their_list(done, phone):
    """Megabytes, and gigabytes where it is more; the figure is the store's."""
    before = room(done.services.store.folder).total
    opened = phone(done, "#/drives", worker=False)
    line = opened.page.locator(".room")
    line.wait_for(state="visible")
    # What the page asks for besides may leave something behind in the meantime.
    said = {megabytes(before), megabytes(room(done.services.store.folder).total)}
    assert line.inner_text().removeprefix("The drives take ").partition(" on this laptop; ")[0] in said
    assert line.inner_text().endswith(" GB are free.")
    assert opened.complaints == []
