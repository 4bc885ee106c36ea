"""The dosing pumps as the settings describe them."""

from daemon.control.protection.effects import Table
from daemon.service.devices.pins import CYCLE_S, Pins
from daemon.service.pumps.doser import Doser, Ways
from daemon.service.settings.file import Settings


def make_doser(settings: Settings, pins: Pins, table: Table, ways: Ways) -> Doser:
    """All pumps of the settings, which may be none, on the lines that `pins` hold."""
    bath = settings.bath.description()
    cycle_s = CYCLE_S * settings.rate
    pumps = {
        each.additive: (each.rules(additive, cycle_s), each.level)
        for each in settings.pump
        if (additive := bath.additive(each.additive)) is not None
    }
    return Doser(settings.bath.name, pumps, pins, table, ways)
