"""Another device takes over: the passenger is asked again, the drive keeps which device, stopping is never locked."""

import pytest

from coach.errors import Conflict
from coach.server.holding import FREE, Holding
from coach.server.roles import LAPTOP, Access, Caller

ANN = Caller(Access.OPERATOR, "a1", "Ann's phone")
BEN = Caller(Access.OPERATOR, "b2", "Ben's phone")


class Drive:
    """Keeps what is marked."""

    def __init__(self, name="d1"):
        self.id = name
        self.marks = []

    def mark(self, kind, capture, text):
        self.marks.append((kind, text))


@pytest.fixture
def drive():
    return Drive()


@pytest.fixture
def holding(drive):
    made = Holding()
    made.begun(drive, ANN)
    return made


def test_the_device_that_starts_has_the_drive_in_hand(holding, drive):
    """It is kept in the drive; it does as it likes, and nothing is asked again."""
    for action in ("arm", "role", "skip", "pause"):
        holding.before(drive, ANN, action, moving=True)
    assert drive.marks == [("device", "Ann's phone")]


def test_another_device_at_standstill_takes_over_and_the_passenger_is_asked_again(holding, drive):
    """The role is open again: as soon as the car moves, the page asks for it."""
    holding.before(drive, BEN, "skip", moving=False)
    assert drive.marks[1:] == [("device", "Ben's phone"), ("role", "")]
    holding.before(drive, BEN, "pause", moving=True)
    assert len(drive.marks) == 3


def test_another_device_in_a_moving_car_confirms_first(holding, drive):
    """Until one of them does, neither acts: nobody knows who holds a phone."""
    for who in (BEN, BEN, ANN, BEN, LAPTOP):
        with pytest.raises(Conflict, match="passenger"):
            holding.before(drive, who, "skip", moving=True)
    assert drive.marks == [("device", "Ann's phone"), ("device", "Ben's phone"), ("role", "")]
    holding.before(drive, BEN, "role", moving=True)
    holding.before(drive, BEN, "skip", moving=True)
    assert ("role", "") in drive.marks
    with pytest.raises(Conflict):
        holding.before(drive, ANN, "skip", moving=True)


@pytest.mark.parametrize("action", sorted(FREE))
def test_stopping_is_for_everybody_at_any_time(holding, drive, action):
    """And changes nothing about who has the drive in hand."""
    holding.before(drive, BEN, action, moving=True)
    assert drive.marks == [("device", "Ann's phone")]
    holding.before(drive, ANN, "skip", moving=True)


def test_confirming_on_another_device_takes_over(holding, drive):
    holding.before(drive, BEN, "role", moving=True)
    assert drive.marks[1:] == [("device", "Ben's phone")]


def test_a_drive_that_nobody_is_known_to_have_in_hand_is_taken(holding):
    """After a start by the program itself: the first device that acts has it, and nothing is asked again."""
    other = Drive("d2")
    holding.before(other, BEN, "skip", moving=True)
    assert other.marks == [("device", "Ben's phone")]
