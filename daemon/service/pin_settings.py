"""The settings of what hangs on the Pi's pins: the contactor, and the interlocks."""

from collections.abc import Sequence
from typing import Annotated, Literal

from pydantic import AfterValidator, Field, StrictInt, model_validator

from daemon.api.quantities import DurationS, RampS
from daemon.control.protection.effects import Effects, Stop
from daemon.service.table import Table
from drivers.pins.header import contact_refusal, heartbeat_refusal

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
    pull_in: DurationS = 2.0
    drop_out: DurationS = 1.0

    @model_validator(mode="after")
    def _above_a_hiccup(self) -> "ContactorTable":
        if self.drop_out < LEAST_DROP_OUT_S:
            raise ValueError(
                f"drop_out must be at least {LEAST_DROP_OUT_S:g} s, got {self.drop_out:g} s: "
                "a circuit that lets go sooner does so at every hiccup"
            )
        return self


class InterlockTable(Table):
    """A loop that is closed while all is well, and what becomes of a run when it opens."""

    name: Annotated[str, Field(min_length=1, max_length=40)] = Field(
        description="what people call it", examples=['"lid"']
    )
    pin: ContactPin = Field(
        description="the chip's number of the pin, not the plug's", examples=["22"]
    )
    stop: Literal["hold", "stop", "abort"] = Field(
        description="hold or stop (category 1), or abort (category 0)", examples=['"abort"']
    )
    debounce: RampS = 0.05

    def row(self) -> Effects:
        """The loop's row of the cause and effect table."""
        stop = Stop(self.stop)
        return Effects(stop, siren=stop is Stop.ABORT)


def pin_conflict(contactor: ContactorTable | None, loops: Sequence[InterlockTable]) -> str | None:
    """Why these cannot be wired together: a pin or a name that is there twice; None if they can."""
    owners: dict[int, str] = {}
    if contactor is not None:
        owners[contactor.heartbeat_pin] = "contactor.heartbeat_pin"
        if contactor.auxiliary_pin in owners:
            return (
                f"GPIO{contactor.auxiliary_pin} is given twice: contactor.heartbeat_pin and "
                "contactor.auxiliary_pin"
            )
        if contactor.auxiliary_pin is not None:
            owners[contactor.auxiliary_pin] = "contactor.auxiliary_pin"
    names: set[str] = set()
    for loop in loops:
        if loop.pin in owners:
            return f"GPIO{loop.pin} is given twice: {owners[loop.pin]} and interlock {loop.name!r}"
        if loop.name in names:
            return f"names of interlocks must differ: {loop.name!r} is there twice"
        owners[loop.pin] = f"interlock {loop.name!r}"
        names.add(loop.name)
    return None
