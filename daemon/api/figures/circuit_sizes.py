"""The sizes of a circuit as people ask for them, and in words, each with its reason."""

from pydantic import BaseModel, ConfigDict, Field

from daemon.api.errors import InputError
from daemon.api.explain import read_tree
from daemon.api.quantities import AreaDm2, CurrentA, CurrentDensityADm2, LengthM, VoltageV
from daemon.api.report import Report, Row
from daemon.electrics.sizing import SHUNT_RATED_V, WIRE_SHARE, Sizes, TooLargeError, size

HARDWARE = "hardware"
"""What errors call the form."""

INA226_COUNT_V = 2.5e-6
"""V a count (its data sheet; drivers/channels/ina226.toml)."""

CAUTIONS = (
    "Mains wiring is for qualified persons, by local codes. What a wire may carry is from memory, "
    "not checked: the local code decides.",
    "Fuse and contactor have to break direct current at the supply's full voltage: an alternating "
    "rating says nothing of that.",
)


class CircuitForm(BaseModel):
    """Area and current density, or the current itself; the way to the tank; what may be lost."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    area: AreaDm2 | None = None
    current_density: CurrentDensityADm2 | None = Field(None, alias="current-density")
    current: CurrentA | None = None
    length: LengthM = Field(description="one way from supply to tank", examples=['"1.5 m"'])
    voltage_ceiling: VoltageV = Field(6.0, alias="voltage-ceiling")
    drop: VoltageV = 0.3


def circuit_sizes(tree: object) -> Report:
    """Read a form's texts and answer it. Raises InputError with every problem."""
    form = read_tree(tree, HARDWARE, CircuitForm)
    current_a, said = _current(form)
    try:
        sizes = size(current_a, form.voltage_ceiling, form.length, form.drop)
    except TooLargeError as error:
        raise InputError(HARDWARE, (str(error),)) from error
    rows = (said, *_supply(sizes, form), *_shunt(sizes), *_fuse(sizes), *_wire(sizes, form))
    return Report(rows, cautions=CAUTIONS)


def _current(form: CircuitForm) -> tuple[float, Row]:
    both = form.area is not None and form.current_density is not None
    neither = form.area is None and form.current_density is None
    if form.current is not None and neither:
        return form.current, Row("current", f"{form.current:.4g} A")
    if form.current is None and both and form.area and form.current_density:
        current_a = form.area * form.current_density
        return current_a, Row(
            "current",
            f"{current_a:.4g} A: {form.area:.4g} dm² at {form.current_density:.4g} A/dm²",
        )
    raise InputError(HARDWARE, ("either area and current-density are wanted, or current alone",))


def _supply(sizes: Sizes, form: CircuitForm) -> tuple[Row, ...]:
    return (
        Row("supply", f"at least {sizes.supply_a:.3g} A and {sizes.supply_v:.3g} V"),
        Row("", f"80 % of its current for days (common practice); {form.voltage_ceiling:g} V at "
                "the cell, and what wire, shunt and contact lose"),
    )  # fmt: skip


def _shunt(sizes: Sizes) -> tuple[Row, ...]:
    count_a = INA226_COUNT_V * sizes.shunt_a / SHUNT_RATED_V
    return (
        Row("shunt", f"{sizes.shunt_a:g} A, {1000 * SHUNT_RATED_V:g} mV: at the current above "
                     f"it gives {1000 * sizes.shunt_v:.3g} mV and {sizes.shunt_w:.3g} W"),
        Row("", "two thirds of its rated current without a break (common practice); class 0.5 or "
                f"better; a count of an INA226 (2.5 µV) is {1000 * count_a:.3g} mA"),
    )  # fmt: skip


def _fuse(sizes: Sizes) -> tuple[Row, ...]:
    return (
        Row("fuse", f"{sizes.fuse_a:g} A, at the supply's positive terminal"),
        Row("", "the current is 80 % of it or less (common practice)"),
    )  # fmt: skip


def _wire(sizes: Sizes, form: CircuitForm) -> tuple[Row, ...]:
    wire = sizes.wire
    return (
        Row("wire", f"{wire.area_mm2:g} mm², flexible copper, because of {sizes.wire_because}"),
        Row("", f"there and back, {2 * form.length:g} m, it loses {sizes.wire_v:.3g} V and "
                f"{sizes.wire_w:.3g} W at 70 °C: {wire.ohm_per_km:g} Ω/km at 20 °C (IEC 60228, "
                "class 5), 0.393 %/K (IEC 60028)"),
        Row("", f"it bears {wire.ampacity_a:g} A at 30 °C (IEC 60364-5-52, method B1, from memory, "
                f"not checked), and {WIRE_SHARE * wire.ampacity_a:.3g} A are used of that"),
        Row("contactor", f"its contact breaks {sizes.current_a:.4g} A of direct current, and makes "
                         f"about {sizes.contact_w:.2g} W of heat (2 mΩ, common practice)"),
    )  # fmt: skip
