"""A drive from its start to its end, for tests of what runs it."""

from coach.clock import HandClock
from coach.drive.drive import Drive
from coach.drive.ring import Ring
from coach.drive.tasks import InPlace


def run(setup, store, clock=None, worker=None):
    """Runs a drive to its end and gives it with its ring."""
    ring = Ring(100_000)
    drive = Drive(setup, store, worker or InPlace(store.folder), clock or HandClock(), ring)
    drive.start()
    assert drive.wait(60)
    return drive, ring
