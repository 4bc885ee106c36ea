"""From the settings to the devices on the tank."""

from daemon.clock import Clock
from daemon.service.settings import Settings
from drivers.contracts import Rating
from drivers.scpi.description import load_description
from drivers.scpi.supply import ScpiSupply


def make_supply(settings: Settings, clock: Clock) -> tuple[ScpiSupply, Rating]:
    """The supply of the settings, not yet opened, and what it may be asked for.

    Raises `DescriptionError` when its description cannot be used.
    """
    description = load_description(settings.supply.description)
    supply = ScpiSupply(settings.supply.port, description, clock.monotonic_s)
    return supply, settings.supply.rating(description.supply_rating())
