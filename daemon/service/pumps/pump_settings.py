"""The settings of dosing pumps, held against the bath and the interlocks that they belong to."""

from collections.abc import Sequence
from typing import Annotated

from pydantic import AfterValidator, Field, StrictInt, model_validator

from daemon.api.bath.table import BathTable
from daemon.api.explain import key_path
from daemon.api.quantities import DurationS, FlowMlS, VolumeMl
from daemon.bath import kinds
from daemon.bath.description import Additive
from daemon.bath.errors import EntryError
from daemon.control.dosing_pump import PumpRules
from daemon.service.devices.pin_settings import LEAST_DROP_OUT_S
from daemon.service.settings.table import Table
from drivers.pins.header import pump_refusal

LEAST_DROP_OUTS = 4
"""Drop-outs that a dose has to last at least. Of a shorter one too much is given by a pump that
nobody drives any more, and how much that is nobody knows well."""


def _pump_pin(pin: int) -> int:
    refused = pump_refusal(pin)
    if refused is not None:
        raise ValueError(refused)
    return pin


class PumpTable(Table):
    """One `[[pump]]`: its additive, its line, what it delivers, what it may give at most.

    `level` is the interlock that opens when the bath's level is low. `drop_out` is how long the
    pump runs on after the last edge of its line, at most.
    """

    additive: str = Field(description="the name of a [[bath.additive]]", examples=['"brightener"'])
    pin: Annotated[StrictInt, AfterValidator(_pump_pin)] = Field(
        description="the chip's number of the pin, not the plug's", examples=["24"]
    )
    flow: FlowMlS = Field(
        description="what it delivers, by `tankhand pump run`", examples=['"1.2 mL/s"']
    )
    greatest_dose: VolumeMl = Field(
        description="the most that it gives at a time", examples=['"5 mL"']
    )
    most_a_day: VolumeMl = Field(description="the most in any 24 h", examples=['"20 mL"'])
    level: str = Field(
        description="the name of the [[interlock]] that opens when the level is low",
        examples=['"level"'],
    )
    pause: DurationS = Field(default=600.0, description="from one dose to the next")
    drop_out: DurationS = Field(
        default=0.5, description="how long it runs on after the last edge of its line"
    )

    @model_validator(mode="after")
    def _above_a_hiccup(self) -> "PumpTable":
        if self.drop_out < LEAST_DROP_OUT_S:
            raise ValueError(
                f"drop_out must be at least {LEAST_DROP_OUT_S:g} s, got {self.drop_out:g} s: "
                "a circuit that lets go sooner does so at every hiccup"
            )
        return self

    def dose_ml(self, additive: Additive) -> float:
        """What it gives at a time, mL: the additive's dose, at most its greatest."""
        return min(self.greatest_dose, additive.dose_ml or self.greatest_dose)

    def rules(self, additive: Additive, cycle_s: float) -> PumpRules:
        """The rules by which it runs, in a loop whose cycles are `cycle_s` apart at most."""
        return PumpRules(
            self.additive,
            self.dose_ml(additive),
            self.flow,
            self.most_a_day,
            self.pause,
            self.drop_out,
            cycle_s,
        )


def pump_problem(
    pumps: Sequence[PumpTable], bath: BathTable, interlocks: Sequence[str]
) -> str | None:
    """Why these pumps cannot be, with the key, what came and what is allowed; None if they can.

    `interlocks` are the names of those in the settings.
    """
    description = bath.description()
    known = ", ".join(description.additive_names) or "none is described"
    seen: set[str] = set()
    for index, pump in enumerate(pumps):
        key = key_path(("pump", index))
        additive = description.additive(pump.additive)
        if additive is None:
            return f"{key}.additive: no such [[bath.additive]]: {pump.additive!r}; known: {known}"
        if pump.additive in seen:
            return f"{key}.additive: {pump.additive!r} has a pump already"
        seen.add(pump.additive)
        if additive.rate_ml_kah is None:
            return (
                f"{key}.additive: {pump.additive!r} has no rate in its [[bath.additive]], so that "
                "nothing would ever be owed"
            )
        if pump.level not in interlocks:
            allowed = ", ".join(interlocks) or "there is none, and no pump without one"
            return (
                f"{key}.level: must be the name of an [[interlock]] that opens when the level is "
                f"low, got {pump.level!r}; [[interlock]] tables: {allowed}"
            )
        wrong = _wrong_volume(key, pump, additive) or _too_much(key, pump, bath)
        if wrong is not None:
            return wrong
    return None


def _wrong_volume(key: str, pump: PumpTable, additive: Additive) -> str | None:
    dose_ml = pump.dose_ml(additive)
    if pump.most_a_day < dose_ml:
        return (
            f"{key}.most_a_day must be at least a dose of {dose_ml:g} mL, "
            f"got {pump.most_a_day:g} mL"
        )
    least_s = LEAST_DROP_OUTS * pump.drop_out
    if dose_ml < pump.flow * least_s:
        return (
            f"{key}: a dose of {dose_ml:g} mL at {pump.flow:g} mL/s takes {dose_ml / pump.flow:.2g}"
            f" s, and must last at least {least_s:g} s, {LEAST_DROP_OUTS} times drop_out: it needs "
            "a slower pump or a larger dose"
        )
    return None


def _too_much(key: str, pump: PumpTable, bath: BathTable) -> str | None:
    """Whether what it gives is beyond what any dose may be, which is a slip of the unit."""
    description = bath.description()
    for name, volume_ml in (("greatest_dose", pump.greatest_dose), ("most_a_day", pump.most_a_day)):
        try:
            kinds.check(
                kinds.DOSE, {pump.additive: volume_ml}, {}, description, description.additive_names
            )
        except EntryError as error:
            return f"{key}.{name}: {error}"
    return None
