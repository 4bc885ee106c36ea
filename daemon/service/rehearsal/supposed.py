"""What is supposed of a tank: known facts of it, and figures that only its voltage can tell.

The figures are kept as natural logarithms (°C excepted), with a standard deviation: how much tanks
differ from each other, and how much one tank differs from run to run.
"""

import math
from dataclasses import dataclass
from math import exp, log

from drivers.simulator.bath import Bath
from drivers.simulator.electrochemistry import Electrode
from drivers.simulator.parameters import BathParameters, PartParameters, SupplyParameters
from drivers.simulator.part import Part
from drivers.simulator.scenario import Scenario

GAP, EXCHANGE, LEADS, PAINT, COVERING, LAYER = range(6)
"""Places of the figures: electrode gap, cm, with whatever else makes the bath's resistance;
exchange current density, A/dm²; leads, Ω; paint, Ω/sq; thickness that covers it, µm; diffusion
layer, µm."""

NAMES = (
    "electrode_gap_cm", "exchange_a_per_dm2", "lead_resistance_ohm",
    "paint_ohm_per_sq", "covering_um", "diffusion_layer_um",
)  # fmt: skip
"""By their names in `drivers.simulator.parameters`."""

USUAL = tuple(log(value) for value in (12.0, 0.2, 0.03, 3.0, 0.3, 50.0))
USUAL_SD = (0.4, 1.0, 0.7, 1.5, 0.6, 0.5)
"""How tanks are where nothing is known of one, and how much they differ: a gap of 5 to 27 cm,
paint from silver to graphite, still to stirred (common practice; the widths are a choice)."""

VARIES = (GAP, PAINT, COVERING)
"""What differs from run to run: where a part hangs and how large it is, and each part's paint."""

VARIES_SD = (0.05, 0.4, 0.3)
"""By how much, before runs have told (a choice)."""

SQUARES_DM2 = 2.7
"""Squares of paint from a contact to the far end, times dm²: larger parts get more contacts
(common practice)."""

USUAL_VOLUME_L = 12.0
LOSS_W_K, LOSS_SD = 3.0, 0.5
"""W/K that an open bath of `USUAL_VOLUME_L` loses, and how much that differs (a choice). It goes
with the surface, as the volume to the power of 2/3."""

AMBIENT_C, AMBIENT_SD = 22.0, 3.0
"""°C of a room of which nothing is known."""

ANODES_TO_PARTS = 1.5
"""Anode area for each cathode area where the settings tell none (common practice)."""

_LIMITS = {
    "electrode_gap_cm": (0.5, 100.0),
    "exchange_a_per_dm2": (1e-3, 100.0),
    "lead_resistance_ohm": (1e-4, 10.0),
    "paint_ohm_per_sq": (1e-3, 1e5),
    "covering_um": (1e-2, 100.0),
    "diffusion_layer_um": (1.0, 1000.0),
}
"""Where the simulated tank ends."""


@dataclass(frozen=True, slots=True)
class Facts:
    """What is known of a bath without its voltage; None where nobody told.

    copper_g_l: of the metal; acid_g_l: of H2SO4.
    """

    volume_l: float | None = None
    copper_g_l: float | None = None
    acid_g_l: float | None = None
    anode_dm2: float | None = None


@dataclass(frozen=True, slots=True)
class Heat:
    """What decides the bath's temperature: loss to the room, W/K, the room's °C, and its start."""

    loss_w_k: float
    ambient_c: float
    start_c: float


COPPER_SHARE = 63.546 / 249.685
"""Of the pentahydrate's mass (IUPAC standard atomic weights)."""


def usual_loss_w_k(volume_l: float) -> float:
    """What an open bath of this volume usually loses, W/K."""
    return LOSS_W_K * math.pow(volume_l / USUAL_VOLUME_L, 2.0 / 3.0)


def bath_parameters(
    facts: Facts, figures: tuple[float, ...], area_dm2: float, heat: Heat
) -> BathParameters:
    """The simulated bath: `figures` are the logarithms in the order of `NAMES`."""
    values = {name: figure(name, each) for name, each in zip(NAMES, figures, strict=True)}
    del values["paint_ohm_per_sq"], values["covering_um"]
    usual = BathParameters()
    salt_g_l = usual.copper_sulfate_g_per_l
    if facts.copper_g_l is not None:
        salt_g_l = facts.copper_g_l / COPPER_SHARE
    acid_g_l = usual.sulfuric_acid_g_per_l if facts.acid_g_l is None else facts.acid_g_l
    return BathParameters(
        volume_l=facts.volume_l or USUAL_VOLUME_L,
        copper_sulfate_g_per_l=min(270.0, max(1.0, salt_g_l)),
        sulfuric_acid_g_per_l=min(400.0, max(0.0, acid_g_l)),
        anode_area_dm2=facts.anode_dm2 or ANODES_TO_PARTS * area_dm2,
        temperature_c=min(80.0, max(0.0, heat.start_c)),
        ambient_c=min(60.0, max(-20.0, heat.ambient_c)),
        heat_loss_w_per_k=heat.loss_w_k,
        **values,
    )


def figure(name: str, logarithm: float) -> float:
    """A figure's value, within what the simulated tank takes."""
    low, high = _LIMITS[name]
    return min(high, max(low, exp(logarithm)))


def part_parameters(
    figures: tuple[float, ...], area_dm2: float, copies: int = 1
) -> tuple[PartParameters, ...]:
    """So many equal parts of this area together, with the paint of the figures."""
    each_dm2 = area_dm2 / copies
    one = PartParameters(
        area_dm2=each_dm2,
        paint_ohm_per_sq=figure("paint_ohm_per_sq", figures[PAINT]),
        paint_squares=min(1000.0, SQUARES_DM2 / each_dm2),
        contacts=1,
        covering_um=figure("covering_um", figures[COVERING]),
    )
    return (one,) * copies


def scenario(
    facts: Facts,
    figures: tuple[float, ...],
    area_dm2: float,
    copies: int,
    heat: Heat,
    supply: SupplyParameters,
) -> Scenario:
    """A tank with its parts on a supply."""
    return Scenario(
        bath=bath_parameters(facts, figures, area_dm2, heat),
        parts=part_parameters(figures, area_dm2, copies),
        supply=supply,
    )


class Cell:
    """The same tank without time: its voltage at a current, a deposit and a temperature.

    The deposit only grows, as `deposit_to` says.
    """

    def __init__(self, facts: Facts, figures: tuple[float, ...], area_dm2: float) -> None:
        parameters = bath_parameters(facts, figures, area_dm2, Heat(3.0, 22.0, 22.0))
        self._bath = Bath(parameters)
        self._part = Part(part_parameters(figures, area_dm2)[0])
        self._anode_dm2 = parameters.anode_area_dm2
        self._lead_ohm = parameters.lead_resistance_ohm
        self._at: tuple[float, Electrode, float] | None = None

    def deposit_to(self, copper_g: float) -> None:
        """Let the part have this much copper, g, in all."""
        self._part.deposit(max(0.0, copper_g - self._part.deposited_g))

    def voltage_v(self, current_a: float, temperature_c: float) -> float:
        """The voltage at the supply's terminals, V, at a current above 0 A."""
        known = self._at
        if known is None or known[0] != temperature_c:
            known = self._at = (
                temperature_c,
                self._bath.electrode(temperature_c),
                self._bath.gap_ohm_dm2(temperature_c),
            )
        _, electrode, gap_ohm_dm2 = known
        part_v, _, _ = self._part.voltage_at(current_a, electrode, gap_ohm_dm2)
        anode_v, _ = electrode.anode(current_a / self._anode_dm2)
        return part_v + anode_v + current_a * self._lead_ohm
