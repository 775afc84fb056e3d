"""What a car offers and who it is, learned through the virtual adapter."""

from __future__ import annotations

import pytest

from coach.sources.adapter import Identity
from coach.sources.adapter.speaking import Said
from coach.sources.link.discover import Found, discover
from coach.sources.link.trouble import Failure
from tests.link.wired import CATALOGUE, Rig, table_car

TWO = Identity(stored=("P0171", "U0100"), pending=("C0035", "B1000"))


def found(rig: Rig) -> Found:
    return discover(rig.session(), CATALOGUE)


@pytest.mark.parametrize("pad", [0xAA, 0x00, None])
@pytest.mark.parametrize("ecus", [1, 2])
@pytest.mark.parametrize("bits", [11, 29])
def test_a_can_car_is_known_whatever_its_headers_and_filling(pad: int | None, ecus: int, bits: int) -> None:
    """Identity of every control unit, codes of both kinds, signals, lengths, and six parameters a request."""
    rig = Rig(table_car(identity=TWO, answers={(1, 0x0C, 1): b"\x00\x04"}), ecus=ecus, bits=bits, pad=pad)
    car = found(rig)
    assert car.adapter == "virtual adapter 1"
    assert car.protocol == ("6" if bits == 11 else "7")
    assert len(car.ecus) == ecus
    assert car.engine == car.ecus[0]
    assert car.batch == 6
    assert car.voltage == 12.6
    assert car.vin == TWO.vin
    assert car.calibrations[car.engine] == ["COACH-ENGINE-01"]
    assert car.verifications[car.engine] == ["1791BC82"]
    if ecus == 2:
        assert car.calibrations[car.ecus[1]] == ["COACH-GEARBOX-1"]
        assert car.verifications[car.ecus[1]] == ["2A04D0F6"]
    assert car.stored == ("P0171", "U0100")
    assert car.pending == ("B1000", "C0035")
    assert car.lengths[0x0C] == 2
    assert car.lengths[0x24] == 4
    assert car.lengths[0xA6] == 4
    assert 0x1C in car.offered
    assert 0x1C not in car.lengths
    assert car.first_values["engine_speed"] == 1726
    assert car.first_values["road_speed"] == 80
    assert car.first_values["lambda_1"] == 1
    assert car.first_values["actual_torque"] == 30
    assert car.refused == {}
    assert set(rig.heard) >= {"0100", "0120", "0140", "0160", "0180", "01A0", "0902", "0904", "0906", "03", "07"}
    assert "01C0" not in rig.heard


@pytest.mark.parametrize("bits", [11, 29])
def test_an_adapter_that_knows_only_the_oldest_settings_will_do(bits: int) -> None:
    """Blanks and line feeds stay in its answers, its waits are its own: all is understood nevertheless."""
    rig = Rig(table_car(identity=TWO), bits=bits)
    hear = rig.adapter.hear
    refused = {"ATL0", "ATS0", "ATM0", "ATAT1"}
    rig.adapter.hear = lambda line, now_us: (  # type: ignore[method-assign]
        Said([(0.0, "?")], blank=True) if line in refused else hear(line, now_us)
    )
    car = found(rig)
    assert set(rig.heard) >= refused
    assert (car.batch, car.voltage, car.vin, car.refused) == (6, 12.6, TWO.vin, {})
    assert car.stored == ("P0171", "U0100")
    assert car.first_values["engine_speed"] == 1726


def test_an_adapter_that_goes_on_repeating_what_it_is_sent_is_refused() -> None:
    """Without headers and with an echo its answers could be taken for something else."""
    for setting in ("ATE0", "ATH1"):
        rig = Rig(table_car())
        hear = rig.adapter.hear
        rig.adapter.hear = lambda line, now_us, setting=setting, hear=hear: (  # type: ignore[method-assign, misc]
            Said([(0.0, "?")], blank=True) if line == setting else hear(line, now_us)
        )
        with pytest.raises(Failure, match=setting):
            rig.session()


def test_a_k_line_car_takes_one_parameter_a_request() -> None:
    car = found(Rig(table_car(identity=TWO), bus="k-line"))
    assert (car.batch, car.protocol) == (1, "5")
    assert car.vin == TWO.vin
    assert car.calibrations[car.engine] == ["COACH-ENGINE-01"]
    assert car.verifications[car.engine] == ["1791BC82"]
    assert car.stored == ("P0171", "U0100")
    assert car.pending == ("B1000", "C0035")
    assert car.first_values["engine_speed"] == 1726


@pytest.mark.parametrize(
    "kind", ["no-data", "garbage", "short-frame", "pending", "dropped", "late", "silence", "noise", "no-prompt",
             "split", "buffer-full", "short-answer"],
)  # fmt: skip
def test_what_fails_for_a_moment_is_asked_again(kind: str) -> None:
    """A fault in every fourth request while a car is asked for everything costs nothing but time."""
    rig = Rig(table_car())
    session = rig.session()
    real = rig.adapter.hear

    def hear(text: str, since_us: int) -> object:
        if len(rig.heard) % 4 == 0 and len(text) == 4 and text.startswith("01"):
            rig.faults.now(kind, 1)
        return real(text, since_us)

    rig.adapter.hear = hear  # type: ignore[method-assign,assignment]
    car = discover(session, CATALOGUE)
    assert rig.faults.struck[kind] > 2
    assert car.first_values["engine_speed"] == 1726
    assert len(car.signals) >= 17


@pytest.mark.parametrize("kind", ["wrong-parameter", "foreign", "stopped", "other-tester", "bus-busy"])
def test_a_sign_of_somebody_else_is_asked_again_and_three_end_the_look(kind: str) -> None:
    """Another tester in the socket: nothing more is asked, and the sentence says what to do."""
    rig = Rig(table_car())
    session = rig.session()
    rig.faults.now(kind, 2)
    assert len(discover(session, CATALOGUE).signals) >= 17
    session = rig.session()
    rig.faults.now(kind, None)
    before = len(rig.heard)
    with pytest.raises(Failure, match="Another tester or program is talking to the car") as caught:
        discover(session, CATALOGUE)
    assert caught.value.code == "occupied"
    # Nothing more goes to the car; the adapter itself may be asked whether it is in step.
    assert len([line for line in rig.heard[before:] if not line.startswith("AT")]) == 3


def test_a_unit_that_works_its_numbers_out_is_waited_for() -> None:
    """Verification numbers take seconds: it asks for time and the adapter gives up; asked again until it tells them."""
    rig = Rig(table_car(), ecus=2)
    session = rig.session()
    real = rig.adapter.hear
    asked: list[str] = []

    def hear(text: str, since_us: int) -> object:
        if text in {"0904", "0906"}:
            asked.append(text)
            if asked.count(text) <= 2:
                rig.faults.now("only-pending", 1)
        return real(text, since_us)

    rig.adapter.hear = hear  # type: ignore[method-assign,assignment]
    car = discover(session, CATALOGUE)
    # The engine's was late twice; the gearbox's stood from the first time on.
    assert car.verifications == {0: ["1791BC82"], 1: ["2A04D0F6"]}
    assert car.calibrations == {0: ["COACH-ENGINE-01"], 1: ["COACH-GEARBOX-1"]}
    assert asked == ["0904"] * 3 + ["0906"] * 3
    assert rig.heard.count("ATSTFF") == 4
    assert rig.heard.count("ATST32") == 2


def test_a_unit_that_never_tells_is_left_out() -> None:
    rig = Rig(table_car())
    session = rig.session()
    real = rig.adapter.hear

    def hear(text: str, since_us: int) -> object:
        if text == "0906":
            rig.faults.now("only-pending", 1)
        return real(text, since_us)

    rig.adapter.hear = hear  # type: ignore[method-assign,assignment]
    car = discover(session, CATALOGUE)
    assert car.verifications == {}
    assert car.calibrations == {0: ["COACH-ENGINE-01"]}
    assert rig.heard.count("0906") == 6


@pytest.mark.parametrize("ecus", [1, 2])
def test_an_old_bus_tells_who_it_is_and_codes_over_several_frames(ecus: int) -> None:
    """Three codes a frame, without a number: seven pending ones in three frames, four stored ones in two."""
    stored = ("P0171", "P0300", "P0301", "C0035")
    pending = ("B1000", "P0100", "P0101", "P0102", "P0103", "P0104", "U0100")
    rig = Rig(table_car(identity=Identity(stored=stored, pending=pending)), bus="k-line", ecus=ecus)
    car = discover(rig.session(), CATALOGUE)
    assert car.stored == tuple(sorted(stored))
    assert car.pending == tuple(sorted(pending))
    assert car.protocol_name.startswith("ISO 14230-4")
    assert car.vin == Identity().vin
    units = {0x10: ["COACH-ENGINE-01"], 0x18: ["COACH-GEARBOX-1"]}
    assert car.calibrations == dict(list(units.items())[:ecus])
    assert car.verifications[0x10] == ["1791BC82"]
    assert car.batch == 1
    assert car.engine == 0x10


def test_a_parameter_of_another_length_is_not_used_and_said() -> None:
    car = found(Rig(table_car(answers={(1, 0x0D): b"\x50\x00"})))
    assert "road_speed" not in car.signals
    assert car.refused == {0x0D: "An answer is 2 bytes long and not 1."}


def test_a_car_that_refuses_everything_but_what_it_offers_has_no_signals() -> None:
    """Offered and never answered: no signal, no batch, and the reason stands beside each."""
    rig = Rig(table_car())
    session = rig.session()
    real = rig.adapter.hear

    def hear(text: str, since_us: int) -> object:
        if text in {"010C", "010D"}:
            rig.faults.now("negative", 1)
        return real(text, since_us)

    rig.adapter.hear = hear  # type: ignore[method-assign,assignment]
    car = discover(session, CATALOGUE)
    assert {0x0C, 0x0D} <= set(car.refused)
    assert "12" in car.refused[0x0C]
    assert "engine_speed" not in car.signals


def test_a_car_without_batches_is_taken_one_by_one() -> None:
    """The adapter answers nothing that asks for more than one parameter: two are tried, then one."""
    rig = Rig(table_car())
    session = rig.session()
    real = rig.adapter.hear

    def hear(text: str, since_us: int) -> object:
        if text.startswith("01") and len(text) > 4:
            rig.faults.now("no-data", 1)
        return real(text, since_us)

    rig.adapter.hear = hear  # type: ignore[method-assign,assignment]
    car = discover(session, CATALOGUE)
    assert car.batch == 1
    assert car.batch_us == car.single_us == 40_000


def test_round_trips_are_measured() -> None:
    car = found(Rig(table_car(), latency_s=0.03))
    assert car.single_us == 30_000
    assert car.identity()["round_trip_ms"] == 30.0


def test_a_car_that_falls_silent_is_a_failure() -> None:
    rig = Rig(table_car())
    session = rig.session()
    rig.faults.now("silence", None)
    with pytest.raises(Failure) as caught:
        discover(session, CATALOGUE)
    assert caught.value.code == "silent"


def test_a_connection_that_ends_is_a_failure_wherever_it_ends() -> None:
    """Cut after each number of requests: never a half-found car."""
    whole = Rig(table_car())
    found(whole)
    last = len(whole.heard)
    for at in range(12, last):
        rig = Rig(table_car())
        session = rig.session()
        real = rig.adapter.hear

        def hear(text: str, since_us: int, rig: Rig = rig, at: int = at, real=real) -> object:
            rig.plugged = len(rig.heard) < at
            return real(text, since_us)

        rig.adapter.hear = hear  # type: ignore[method-assign,assignment]
        with pytest.raises(Failure) as caught:
            discover(session, CATALOGUE)
        assert caught.value.code == "disconnected"


@pytest.mark.parametrize(
    ("kind", "code"),
    [("unable-to-connect", "unable_to_connect"), ("can-error", "bus_error"), ("bus-init-error", "bus_error"),
     ("no-data", "no_data")],
)  # fmt: skip
def test_an_adapter_without_a_car_says_what_is_wrong(kind: str, code: str) -> None:
    rig = Rig(table_car())
    rig.faults.now(kind, None)
    with pytest.raises(Failure) as caught:
        rig.session()
    assert caught.value.code == code
