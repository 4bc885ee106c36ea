"""The chain works without the Pi: which coil pulls, walked through the netlist of the full box."""

from itertools import combinations

import pytest

from hardware.circuits.netlist import read_level
from hardware.circuits.walk import CONTROL_PLUS, Moment, energised, islands, reached

BOX = read_level(3)
NAMES = {"S0": "emergency stop", "S1": "lid", "S2": "level", "S3": "over-temperature"}
CHAIN = tuple(NAMES)
FULL = frozenset({"K1", "K2"})


def after_reset(netlist=BOX, **more):
    """What is pulled in after the reset button was pressed and let go."""
    first = energised(netlist, Moment(pressed={"S4"}, **more))
    return energised(netlist, Moment(up=first, **more))


def without(mark):
    """The box with a part's two pins joined, as by a wire across it."""
    part = BOX.named(mark)
    kept, gone = part.net_of["1"], part.net_of["2"]

    def renamed(each):
        pins = tuple(
            pin.model_copy(update={"net": kept}) if pin.net == gone else pin for pin in each.pins
        )
        nets = tuple(kept if net == gone else net for net in each.nets)
        return each.model_copy(update={"nets": nets, "pins": pins})

    return type(BOX)(tuple(renamed(each) for each in BOX.parts if each.id != mark))


def test_with_all_well_and_a_line_that_moves_the_contactor_closes():
    assert after_reset(moving=True) == FULL


def test_nothing_closes_before_reset_is_pressed():
    assert energised(BOX, Moment(moving=True)) == frozenset()


def test_with_the_pi_unplugged_the_contactor_stays_open():
    # A line that nobody drives does not move: R2 holds it low.
    assert after_reset(moving=False) == {"K2"}


def test_with_the_pi_unplugged_its_coil_has_no_path_at_all():
    coil = BOX.named("K1").net_of["1"]
    for pressed in ((), ("S4",)):
        nets = reached(BOX, CONTROL_PLUS, Moment(pressed=pressed, up={"K2"}, moving=False))
        assert "HELD" in nets
        assert coil not in nets


@pytest.mark.parametrize("mark", CHAIN)
def test_each_contact_of_the_chain_opens_the_contactor(mark):
    opened = energised(BOX, Moment(pressed={mark}, up=FULL, moving=True))
    assert opened == frozenset()
    # Closing it again closes nothing, though the Pi has noticed nothing: somebody presses reset.
    assert energised(BOX, Moment(up=opened, moving=True)) == frozenset()
    assert after_reset(moving=True) == FULL


@pytest.mark.parametrize(
    ("mark", "contact"), [("S0", "S0c"), *((each, each) for each in CHAIN[1:])]
)
def test_a_contact_that_is_bridged_is_found_by_the_same_walk(mark, contact):
    bridged = without(contact)
    assert energised(bridged, Moment(pressed={mark}, up=FULL, moving=True)) == FULL


FAILING = ("Q1", "K2m", "S4", "S1", "S2", "D4")


@pytest.mark.parametrize("failed", [*combinations(FAILING, 1), FAILING])
def test_the_emergency_stop_takes_the_coil_s_supply_whatever_else_has_failed(failed):
    moment = Moment(pressed={"S0", "S4"}, up=FULL, moving=True, bridged=failed)
    nets = reached(BOX, CONTROL_PLUS, moment)
    assert not nets & {"HELD", "coil", "OUT", "gate"}
    assert energised(BOX, moment) == frozenset()


def test_a_transistor_that_has_failed_closed_is_what_the_auxiliary_contact_is_for():
    assert after_reset(moving=False, bridged={"Q1"}) == FULL
    (auxiliary,) = [each for each in BOX.of_device("K1") if each.id == "K1a"]
    assert auxiliary.kind == "make"


def test_a_wire_of_the_chain_on_earth_blows_the_fuse():
    # 0 V is joined to earth (W1), so that such a wire is a short behind F2.
    assert "PE" in {*BOX.named("W1").nets}
    assert energised(BOX, Moment(up=FULL, moving=True, opened={"F2"})) == frozenset()


def test_every_contact_of_the_chain_is_told_to_the_pi_by_another_of_the_same_device():
    for mark in CHAIN:
        behind = sorted(part.net_of["2"] for part in BOX.of_device(mark) if part.kind == "break")
        loop = next(
            pin.net for pin in BOX.named("Pi").pins if pin.role == f"interlock.{NAMES[mark]}"
        )
        mains = ["L stopped", "N stopped"] if mark == "S0" else []
        assert behind == sorted([*mains, f"behind {mark}", loop.replace("read", "fed")])


@pytest.mark.parametrize("level", [1, 2, 3])
def test_the_emergency_stop_in_the_mains_breaks_both_conductors(level):
    found = read_level(level)
    for live in ("L", "N"):
        nets = reached(found, live, Moment(pressed={"S0"}), end="")
        assert nets == {live}
        assert f"{live} stopped" in reached(found, live, Moment(), end="")


@pytest.mark.parametrize("level", [1, 2, 3])
def test_mains_bath_pi_and_control_are_parted(level):
    groups = islands(read_level(level))
    names = ("L", "N", "supply +", "USB", "data", "Pi GND", "0 V")
    where = {name: index for name in names for index, group in enumerate(groups) if name in group}
    assert len(set(where.values())) == len(where)
    assert ("0 V" in where) is (level == 3)


def test_the_current_of_the_bath_runs_through_fuse_contactor_and_shunt():
    def path(**moment):
        return reached(BOX, "supply +", Moment(**moment), end="")

    assert "anodes" in path(up={"K1"})
    assert "anodes" not in path()
    assert "anodes" not in path(up={"K1"}, opened={"F1"})
    assert "cathode" in reached(BOX, "supply -", Moment(), end="")


def test_beacon_and_siren_work_with_the_chain_open():
    nets = reached(BOX, CONTROL_PLUS, Moment(pressed={"S1"}))
    assert {"beacon switched", "siren switched"} <= nets
