"""What each pin of the Pi's plug carries, by the settings that the daemon reads."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from daemon.api.explain import read_toml
from daemon.service.settings.file import Settings
from drivers.pins.header import PULLED_UP

BOX = Path(__file__).parent.parent / "box.toml"

PLUG: Mapping[int, int] = {
    0: 27, 1: 28, 2: 3, 3: 5, 4: 7, 5: 29, 6: 31, 7: 26, 8: 24, 9: 21, 10: 19, 11: 23, 12: 32,
    13: 33, 14: 8, 15: 10, 16: 36, 17: 11, 18: 12, 19: 35, 20: 38, 21: 40, 22: 15, 23: 16, 24: 18,
    25: 22, 26: 37, 27: 13,
}  # fmt: skip
"""The place on the plug of 40 pins, by the chip's number (Raspberry Pi's pinout)."""

BUSES: Mapping[str, tuple[int, str]] = {
    "SDA": (2, "I²C, to the isolator U4"),
    "SCL": (3, "I²C, to the isolator U4"),
    "1-wire": (4, "thermometer B1"),
}
"""What the kernel's drivers use, by role: the pin, and what hangs there (config.txt says so)."""

POWER: Mapping[str, str] = {"3V3": "pin 1", "GND": "pin 6"}

_NEEDED = '[supply]\nport = "/dev/ttyUSB0"\n[bath]\nname = "any"\n'


@dataclass(frozen=True, slots=True)
class Use:
    """One pin in use: its role in the settings, the chip's number, and what it does."""

    role: str
    pin: int
    what: str
    drives: bool
    level: int

    @property
    def plug(self) -> int:
        """Its place on the plug."""
        return PLUG[self.pin]

    @property
    def at_boot(self) -> str:
        """How the chip holds it from power-on (BCM2835 ARM Peripherals, p. 102)."""
        return "up" if self.pin in PULLED_UP else "down"


def box_settings() -> Settings:
    """The settings of the full box. Raises InputError."""
    return read_toml(_NEEDED + BOX.read_text(encoding="utf-8"), BOX.name, Settings)


def uses(settings: Settings) -> Iterator[Use]:
    """Every pin that these settings, and the kernel's drivers for them, use."""
    for role, (pin, what) in BUSES.items():
        yield Use(role, pin, what, drives=True, level=2)
    for loop in settings.interlock:
        yield Use(f"interlock.{loop.name}", loop.pin, f"loop: {loop.name}", drives=False, level=2)
    contactor = settings.contactor
    if contactor is not None:
        yield Use("contactor.heartbeat_pin", contactor.heartbeat_pin, "heartbeat", True, 3)
        if contactor.auxiliary_pin is not None:
            pin = contactor.auxiliary_pin
            yield Use("contactor.auxiliary_pin", pin, "auxiliary contact of K1", False, 3)
    for name, table in (("beacon", settings.beacon), ("siren", settings.siren)):
        if table is not None:
            yield Use(f"{name}.pin", table.pin, name, drives=True, level=3)
    if settings.acknowledge_button is not None:
        yield Use("acknowledge_button.pin", settings.acknowledge_button.pin, "button", False, 3)


def shown(settings: Settings) -> dict[str, str]:
    """How each role is written at the Pi's pins in the drawings: GPIO and place on the plug."""
    names = {use.role: f"GPIO{use.pin} ({use.plug})" for use in uses(settings)}
    return names | {role: f"{role} ({place.split()[-1]})" for role, place in POWER.items()}
