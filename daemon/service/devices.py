"""From the settings to the devices on the tank."""

from collections.abc import Mapping
from dataclasses import dataclass

from daemon.chemistry.uncertainty import MeterDoubt
from daemon.clock import Clock
from daemon.service.settings import SUPPLY, Settings, ShuntSettings
from drivers.channels.description import ShuntTable, adapted, load_channel
from drivers.channels.devices import ChannelMeter, ChannelThermometer
from drivers.channels.sysfs import SYSFS
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


@dataclass(frozen=True, slots=True)
class Meters:
    """The meters besides the supply's own, not yet opened, and which of all counts."""

    meters: Mapping[str, ChannelMeter]
    thermometers: Mapping[str, ChannelThermometer]
    doubts: Mapping[str, MeterDoubt]
    counting: str


def make_meters(settings: Settings, clock: Clock) -> Meters:
    """The meters and thermometers of the settings, by name.

    What counts is what the roles say; otherwise the first meter that reads a current; otherwise the
    supply. Raises `DescriptionError` when a description cannot be used.
    """
    root = SYSFS
    if settings.simulation is not None and settings.simulation.sysfs is not None:
        root = settings.simulation.sysfs
    meters: dict[str, ChannelMeter] = {}
    counting: str | None = settings.roles.counts
    doubts = {SUPPLY: settings.supply.accuracy.doubt()}
    for table in settings.meter:
        described = adapted(load_channel(table.description), table.address, _shunt(table.shunt))
        meters[table.name] = ChannelMeter(described, clock.monotonic_s, root)
        doubts[table.name] = table.accuracy.doubt()
        if described.current is not None:
            counting = counting or table.name
    thermometers = {
        table.name: ChannelThermometer(
            adapted(load_channel(table.description), table.address), clock.monotonic_s, root
        )
        for table in settings.thermometer
    }
    return Meters(meters, thermometers, doubts, counting or SUPPLY)


def _shunt(shunt: ShuntSettings | None) -> ShuntTable | None:
    """The settings' shunt in the units of a channel's description."""
    if shunt is None:
        return None
    return ShuntTable(
        rated_current_a=shunt.rated_current,
        rated_voltage_mv=None if shunt.rated_voltage is None else shunt.rated_voltage * 1e3,
        resistance_mohm=None if shunt.resistance is None else shunt.resistance * 1e3,
    )
