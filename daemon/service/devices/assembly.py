"""From the settings to the devices on the tank."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from daemon.api.errors import InputError
from daemon.chemistry.uncertainty import MeterDoubt
from daemon.clock import Clock
from daemon.control.situation import Limits
from daemon.service.devices.device_settings import SUPPLY, AccuracyTable, ShuntSettings
from daemon.service.settings.file import Settings
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
    """The meters besides the supply's own, not yet opened, and which of all counts.

    supply_step_a: the smallest step of the supply's current, A. period_s: from one reading of the
    counting meter to the next, s. accuracies: what each meter's maker promises, the supply's first.
    """

    meters: Mapping[str, ChannelMeter]
    thermometers: Mapping[str, ChannelThermometer]
    accuracies: Mapping[str, AccuracyTable]
    supply_step_a: float
    counting: str
    period_s: float

    def doubts(self) -> dict[str, MeterDoubt]:
        """What is not known of each meter, by its name. The meters have to be open."""
        found = {}
        for name, accuracy in self.accuracies.items():
            meter = self.meters.get(name)
            step_a = self.supply_step_a if meter is None else meter.step_a
            found[name] = accuracy.doubt(step_a or 0.0)
        return found

    def limits(self, settings: Settings, rating: Rating) -> Limits:
        """The limits that control works with, with what is not known of the counting meter."""
        doubt = self.accuracies[self.counting].doubt(step_a=0.0)
        return settings.limits(rating.current_step_a, self.period_s, doubt)

    def narrowed(self, rating: Rating) -> Rating:
        """The supply's rating without currents that a shunt cannot carry for long or not show.

        Every shunt is in the cell's circuit, whether it counts or not. The meters have to be open.
        """
        meters = self.meters.values()
        ends_a = [end for meter in meters for end in (meter.continuous_a, meter.readable_a) if end]
        return replace(rating, current_a=min([rating.current_a, *ends_a]))


def make_meters(settings: Settings, clock: Clock, rating: Rating) -> Meters:
    """The meters and thermometers of the settings, by name; `rating` is the supply's.

    What counts is what the roles say; otherwise the first meter that reads a current; otherwise the
    supply. Raises `DescriptionError` when a description cannot be used, `InputError` when the meter
    that shall count cannot.
    """
    root = SYSFS
    if settings.simulation is not None and settings.simulation.sysfs is not None:
        root = settings.simulation.sysfs
    meters: dict[str, ChannelMeter] = {}
    accuracies = {SUPPLY: settings.supply.accuracy}
    for table in settings.meter:
        described = adapted(load_channel(table.description), table.address, _shunt(table.shunt))
        meters[table.name] = ChannelMeter(described, clock.monotonic_s, root)
        accuracies[table.name] = table.accuracy
    thermometers = {
        table.name: ChannelThermometer(
            adapted(load_channel(table.description), table.address), clock.monotonic_s, root
        )
        for table in settings.thermometer
    }
    counting = _counting(settings, meters)
    periods_s = {table.name: table.period for table in settings.meter}
    period_s = periods_s.get(counting) or settings.loop.period
    if not period_s < settings.loop.gap:
        raise InputError(
            "settings",
            (
                f"meter {counting!r} counts: its period must be below loop.gap, "
                f"{settings.loop.gap:g} s, got {period_s:g} s",
            ),
        )
    return Meters(meters, thermometers, accuracies, rating.current_step_a, counting, period_s)


def _counting(settings: Settings, meters: Mapping[str, ChannelMeter]) -> str:
    """The name of the meter that counts. Raises `InputError` if that reads no current."""
    able = [name for name, meter in meters.items() if meter.step_a is not None]
    wanted = settings.roles.counts
    if wanted is None:
        return able[0] if able else SUPPLY
    if wanted not in (SUPPLY, *able):
        raise InputError(
            "settings",
            (
                f"roles.counts: meter {wanted!r} reads no current; "
                f"allowed: {', '.join((SUPPLY, *able))}",
            ),
        )
    return wanted


def _shunt(shunt: ShuntSettings | None) -> ShuntTable | None:
    """The settings' shunt in the units of a channel's description."""
    if shunt is None:
        return None
    return ShuntTable(
        rated_current_a=shunt.rated_current,
        rated_voltage_mv=None if shunt.rated_voltage is None else shunt.rated_voltage * 1e3,
        resistance_mohm=None if shunt.resistance is None else shunt.resistance * 1e3,
    )
