"""From the settings to the devices on the tank."""

from daemon.clock import Clock
from daemon.service.settings import Settings
from drivers.contracts import Rating
from drivers.files import MODBUS_RTU, protocol_of
from drivers.modbus import description as modbus
from drivers.modbus.supply import ModbusSupply
from drivers.scpi import description as scpi
from drivers.scpi.supply import ScpiSupply


def make_supply(settings: Settings, clock: Clock) -> tuple[ScpiSupply | ModbusSupply, Rating]:
    """The supply of the settings, not yet opened, and what it may be asked for.

    Which protocol it speaks is told by its description. Raises `DescriptionError` when that cannot
    be used.
    """
    table = settings.supply
    if protocol_of(table.description) == MODBUS_RTU:
        registers = modbus.load_description(table.description)
        rating = table.rating(registers.supply_rating())
        return ModbusSupply(table.port, registers, clock.monotonic_s), rating
    words = scpi.load_description(table.description)
    rating = table.rating(words.supply_rating())
    return ScpiSupply(table.port, words, clock.monotonic_s), rating
