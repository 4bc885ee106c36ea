"""The settings of what hangs on the Pi's pins: contactor, interlocks, signals and button."""

from collections.abc import Iterator, Sequence
from typing import Annotated, Literal

from pydantic import AfterValidator, Field, StrictInt, model_validator

from daemon.api.quantities import DurationS, RampS
from daemon.service.settings.effects import InterlockEffects
from daemon.service.settings.table import Table
from drivers.pins.header import contact_refusal, heartbeat_refusal, signal_refusal

LEAST_DROP_OUT_S = 0.25
"""Real s: five of the pauses between two edges of the heartbeat, `CYCLE_S` of
`daemon.service.devices.pins`. A circuit that lets go sooner would do so at every hiccup."""


def _heartbeat_pin(pin: int) -> int:
    refused = heartbeat_refusal(pin)
    if refused is not None:
        raise ValueError(refused)
    return pin


def _contact_pin(pin: int) -> int:
    refused = contact_refusal(pin)
    if refused is not None:
        raise ValueError(refused)
    return pin


ContactPin = Annotated[StrictInt, AfterValidator(_contact_pin)]


class ContactorTable(Table):
    """The contactor in the cell's circuit: its heartbeat line, and the contact that shows it."""

    heartbeat_pin: Annotated[StrictInt, AfterValidator(_heartbeat_pin)] = Field(
        description="the chip's number of the pin, not the plug's", examples=["17"]
    )
    auxiliary_pin: ContactPin | None = Field(
        default=None, description="the chip's number of the pin", examples=["27"]
    )
    pull_in: DurationS = Field(default=2.0, description="how long it may take to close")
    drop_out: DurationS = Field(default=1.0, description="how long it may take to open")

    @model_validator(mode="after")
    def _above_a_hiccup(self) -> "ContactorTable":
        if self.drop_out < LEAST_DROP_OUT_S:
            raise ValueError(
                f"drop_out must be at least {LEAST_DROP_OUT_S:g} s, got {self.drop_out:g} s: "
                "a circuit that lets go sooner does so at every hiccup"
            )
        return self


class InterlockTable(InterlockEffects):
    """A loop that is closed while all is well, and what becomes of a run when it opens."""

    name: Annotated[str, Field(min_length=1, max_length=40)] = Field(
        description="what people call it", examples=['"lid"']
    )
    pin: ContactPin = Field(
        description="the chip's number of the pin, not the plug's", examples=["22"]
    )
    debounce: RampS = Field(default=0.05, description="how long a change has to last")


class SignalTable(Table):
    """A beacon or a siren: its pin, and the level at which it is on."""

    pin: StrictInt = Field(
        description="the chip's number of the pin, not the plug's", examples=["16"]
    )
    active_level: Literal["high", "low"] = Field(
        default="high", description="of the pin, at which it is on"
    )

    @property
    def active_high(self) -> bool:
        """Whether it is on at the high level."""
        return self.active_level == "high"

    @model_validator(mode="after")
    def _off_while_the_pi_boots(self) -> "SignalTable":
        refused = signal_refusal(self.pin, active_high=self.active_high)
        if refused is not None:
            raise ValueError(refused)
        return self


class ButtonTable(Table):
    """The button that acknowledges all alarms: a contact that is closed while it is pressed."""

    pin: ContactPin = Field(
        description="the chip's number of the pin, not the plug's", examples=["26"]
    )


def pin_conflict(
    contactor: ContactorTable | None,
    loops: Sequence[InterlockTable],
    beacon: SignalTable | None = None,
    siren: SignalTable | None = None,
    acknowledge_button: ButtonTable | None = None,
    pumps: Sequence[tuple[str, int]] = (),
) -> str | None:
    """Why these cannot be wired together: a pin or a name that is there twice; None if they can.

    `pumps` are dosing pumps, each as what it is called and its pin.
    """
    owners: dict[int, str] = {}
    single = (("beacon", beacon), ("siren", siren), ("acknowledge_button", acknowledge_button))
    for owner, pin in (
        *_contactor_pins(contactor),
        *((f"interlock {loop.name!r}", loop.pin) for loop in loops),
        *((f"{name}.pin", table.pin) for name, table in single if table is not None),
        *pumps,
    ):
        if pin in owners:
            return f"GPIO{pin} is given twice: {owners[pin]} and {owner}"
        owners[pin] = owner
    names = [loop.name for loop in loops]
    twice = next((name for name in names if names.count(name) > 1), None)
    return None if twice is None else f"names of interlocks must differ: {twice!r} is there twice"


def _contactor_pins(contactor: ContactorTable | None) -> Iterator[tuple[str, int]]:
    if contactor is not None:
        yield "contactor.heartbeat_pin", contactor.heartbeat_pin
        if contactor.auxiliary_pin is not None:
            yield "contactor.auxiliary_pin", contactor.auxiliary_pin
