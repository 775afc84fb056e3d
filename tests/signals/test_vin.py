"""Check digits of vehicle identification numbers; the worked numbers are those of 49 CFR 565.15."""

from __future__ import annotations

import pytest

from coach.vin import check_digit, mask_vin


@pytest.mark.parametrize(
    ("vin", "digit"),
    [("1G4AH59H45G118341", "4"), ("1J9RP1A36A1644345", "6"), ("1M8GDM9AXKP042788", "X")],
)
def test_the_published_check_digits_come_out(vin, digit):
    """49 CFR 565.15: sums 411 and 314 leave 4 and 6; a rest of ten is an X."""
    assert check_digit(vin) == digit


@pytest.mark.parametrize(
    "vin", ["", "1G4AH59H45G11834", "1G4AH59H45G1183411", "1G4AH59H45G11834O", "1g4ah59h45g118341"]
)
def test_what_is_no_such_number_is_refused(vin):
    """Another length, a letter that is never used, small letters."""
    with pytest.raises(ValueError, match="17 capital letters and digits"):
        check_digit(vin)


def test_a_masked_number_keeps_its_last_four_places():
    """Two cars of one owner are told apart; nothing of one that is no longer than that is shown."""
    assert mask_vin("1G4AH59H45G118341") == "*************8341"
    assert mask_vin("8341") == "****"
