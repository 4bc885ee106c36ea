"""How strong an acid is: wt %, density, specific gravity, g/L and mol/L, one from another.

All at 20 °C. Sources:

- sulfuric acid up to 10 wt %: CRC Handbook, Concentrative properties of aqueous solutions, 20 °C;
- 10 to 60 wt %: Myhre, Nielsen & Saastad 1998, J. Chem. Eng. Data 43, 617, eq. (2), stated for 10
  to 90 wt %. Its coefficients, as open code has them, are used at 20 °C only: from 25 °C up they
  leave other data by 0.2 % and more (2.7 % for 50 wt % at 50 °C), though stated for 0 to 50 °C;
- above 60 wt %: 70 and 100 wt % from the same CRC table, the other rows from Perry's Chemical
  Engineers' Handbook, from memory. A test compares them with densities that are straight lines in
  temperature, as an open model of sulfate in air has them: they agree within 0.0005 g/cm³;
- hydrochloric acid: density by mass fraction at 20 °C, 10 to 38 wt %, as encyclopedias print it.

Above 90 wt % a density no longer tells the strength of sulfuric acid: it is greatest at about
97.5 wt %, and 93.8 and 100 wt % weigh the same. Whatever lies outside is refused.
"""

from collections.abc import Callable
from dataclasses import dataclass

from daemon.chemistry.checks import require_positive
from daemon.chemistry.numerics import interpolated, reached
from daemon.chemistry.substances import HYDROGEN_CHLORIDE_G_MOL, SULFURIC_ACID_G_MOL

WATER_20_C_G_CM3 = 0.99821
"""Density of water at 20 °C (CRC Handbook, Standard density of water), to which a specific
gravity "20/20" refers."""

SPECIFIC_GRAVITY_PER_C = 0.0007
"""How much the specific gravity of battery acid falls for each °C (0.004 for 10 °F: US Army
TM 5-4210-230-14&P-1, hydrometer test)."""

_BATTERY_ACID = (1.05, 1.40)
_HYDROMETER_C = (0.0, 50.0)

_MYHRE = (
    (999.8426, 0.03345402, -0.005691304, 0.0, 0.0),
    (547.2659, -5.300445, 0.01187671, 0.0005990008, 0.0),
    (5262.95, 37.20445, 0.1201909, -0.004148594, 1.197973e-5),
    (-62139.58, -287.767, -0.4064638, 0.01119488, 3.607768e-5),
    (409029.3, 1270.854, 0.326971, -0.01377435, -2.633585e-5),
    (-1596989.0, -3062.836, 0.1366499, 0.006373031, 0.0),
    (3857411.0, 4083.714, -0.1927785, 0.0, 0.0),
    (-5808064.0, -2844.401, 0.0, 0.0, 0.0),
    (5301976.0, 809.1053, 0.0, 0.0, 0.0),
    (-2682616.0, 0.0, 0.0, 0.0, 0.0),
    (576428.8, 0.0, 0.0, 0.0, 0.0),
)
_MYHRE_WT = (10.0, 90.0)
_MYHRE_C = 20.0


def myhre_density_g_cm3(wt_percent: float) -> float:
    """Density of sulfuric acid of 10 to 90 wt % at 20 °C (Myhre 1998, eq. 2), g/cm³.

    Raises ValueError outside: there the polynomial gives wrong figures without a sign of it.
    """
    _require_within("sulfuric acid", wt_percent, _MYHRE_WT, "wt %", "Myhre 1998")
    w = wt_percent / 100
    kg_m3 = sum(
        coefficient * w**i * _MYHRE_C**j
        for i, row in enumerate(_MYHRE)
        for j, coefficient in enumerate(row)
    )
    return kg_m3 / 1000


def _require_within(
    name: str, value: float, limits: tuple[float, float], unit: str, source: str
) -> None:
    if not limits[0] <= value <= limits[1]:
        raise ValueError(
            f"{name} must be from {limits[0]:g} to {limits[1]:g} {unit} for {source},"
            f" got {value:g} {unit}"
        )


_WEAK_SULFURIC = (
    (0.0, WATER_20_C_G_CM3), (1.0, 1.0049), (5.0, 1.0318), (10.0, myhre_density_g_cm3(10.0)),
)  # fmt: skip
_STRONG_SULFURIC = (
    (60.0, myhre_density_g_cm3(60.0)), (65.0, 1.5533), (70.0, 1.6105), (80.0, 1.7272),
    (82.0, 1.7491), (84.0, 1.7693), (86.0, 1.7872), (88.0, 1.8022), (90.0, 1.8144),
    (92.0, 1.8240), (94.0, 1.8312), (96.0, 1.8355), (97.0, 1.8364), (98.0, 1.8361),
    (100.0, 1.8305),
)  # fmt: skip
_HYDROCHLORIC = (
    (0.0, WATER_20_C_G_CM3), (10.0, 1.048), (20.0, 1.098), (30.0, 1.149), (32.0, 1.159),
    (34.0, 1.169), (36.0, 1.179), (38.0, 1.189),
)  # fmt: skip


def _sulfuric_g_cm3(wt_percent: float) -> float:
    if wt_percent < 10:
        return interpolated(_WEAK_SULFURIC, wt_percent)
    if wt_percent <= 60:
        return myhre_density_g_cm3(wt_percent)
    return interpolated(_STRONG_SULFURIC, wt_percent)


def _hydrochloric_g_cm3(wt_percent: float) -> float:
    return interpolated(_HYDROCHLORIC, wt_percent)


@dataclass(frozen=True, slots=True)
class Acid:
    """An acid whose density is known up to `greatest_wt_percent`.

    `told_by_density`: up to this strength in wt % its density tells how strong it is.
    """

    name: str
    formula: str
    molar_mass_g: float
    greatest_wt_percent: float
    told_by_density: float
    table: Callable[[float], float]

    def density_g_cm3(self, wt_percent: float) -> float:
        """Density at 20 °C, g/cm³. Raises ValueError for a strength that is not known."""
        if not 0 < wt_percent <= self.greatest_wt_percent:
            raise ValueError(
                f"{self.name} must be above 0 and at most {self.greatest_wt_percent:g} wt %,"
                f" got {wt_percent:g} wt %"
            )
        return self.table(wt_percent)


SULFURIC = Acid("sulfuric acid", "H2SO4", SULFURIC_ACID_G_MOL, 100.0, 90.0, _sulfuric_g_cm3)
HYDROCHLORIC = Acid(
    "hydrochloric acid", "HCl", HYDROGEN_CHLORIDE_G_MOL, 38.0, 38.0, _hydrochloric_g_cm3
)


@dataclass(frozen=True, slots=True)
class Strength:
    """An acid as it stands in its bottle: wt % and density at 20 °C in g/cm³."""

    acid: Acid
    wt_percent: float
    density_g_cm3: float

    def __post_init__(self) -> None:
        if not 0 < self.wt_percent <= 100:
            raise ValueError(
                f"{self.acid.name} must be above 0 and at most 100 wt %, got {self.wt_percent:g}"
                " wt %"
            )
        require_positive(f"density of {self.acid.name}", self.density_g_cm3, "g/cm³")

    @property
    def g_l(self) -> float:
        """Mass of pure acid in a litre, g/L."""
        return 10 * self.wt_percent * self.density_g_cm3

    @property
    def mol_l(self) -> float:
        """Amount of acid in a litre, mol/L."""
        return self.g_l / self.acid.molar_mass_g

    @property
    def specific_gravity(self) -> float:
        """Density relative to water, both at 20 °C."""
        return self.density_g_cm3 / WATER_20_C_G_CM3


def of_wt_percent(acid: Acid, wt_percent: float, density_g_cm3: float | None = None) -> Strength:
    """The acid of a strength in wt %; its density from the table unless it is given.

    Raises ValueError for a strength that does not exist or whose density is not known.
    """
    if density_g_cm3 is None:
        density_g_cm3 = acid.density_g_cm3(wt_percent)
    return Strength(acid, wt_percent, density_g_cm3)


def of_specific_gravity(acid: Acid, value: float, temperature_c: float = 20.0) -> Strength:
    """The acid of a specific gravity, read at a temperature on a hydrometer.

    20 °C means 20/20. For battery acid (1.05 to 1.40, 0 to 50 °C) a reading at another temperature
    is corrected by 0.0007 for each °C. Raises ValueError for a value below 1, for one above which
    density no longer tells the strength, and for a correction that is not known.
    """
    if not value > 1:
        raise ValueError(
            f"specific gravity of {acid.name} must be above 1, that of water, got {value:g}"
        )
    if temperature_c != 20.0:
        known = f"{acid.name} read at {temperature_c:g} °C"
        _require_within("temperature", temperature_c, _HYDROMETER_C, "°C", "a hydrometer")
        if acid is not SULFURIC or not _BATTERY_ACID[0] <= value <= _BATTERY_ACID[1]:
            raise ValueError(
                f"{known} can be corrected to 20 °C for battery acid of {_BATTERY_ACID[0]:g} to"
                f" {_BATTERY_ACID[1]:g} only, got {value:g}"
            )
        value += SPECIFIC_GRAVITY_PER_C * (temperature_c - 20.0)
    density_g_cm3 = value * WATER_20_C_G_CM3
    greatest = acid.density_g_cm3(acid.told_by_density)
    if density_g_cm3 > greatest:
        raise ValueError(
            f"specific gravity of {acid.name} must be at most {greatest / WATER_20_C_G_CM3:.3f}"
            f" ({acid.told_by_density:g} wt %), above which it does not tell the strength, got"
            f" {value:g}; give the wt % of the label"
        )
    return Strength(
        acid, reached(acid.table, density_g_cm3, 0.0, acid.told_by_density), density_g_cm3
    )


def of_g_l(acid: Acid, g_l: float) -> Strength:
    """The acid that holds so many g in a litre. Raises ValueError if none does."""
    greatest = of_wt_percent(acid, acid.greatest_wt_percent).g_l
    if not 0 < g_l <= greatest:
        raise ValueError(f"{acid.name} must be above 0 and at most {greatest:.0f} g/L, got {g_l:g}")
    wt_percent = reached(lambda wt: 10 * wt * acid.table(wt), g_l, 0.0, acid.greatest_wt_percent)
    return of_wt_percent(acid, wt_percent)


def of_mol_l(acid: Acid, mol_l: float) -> Strength:
    """The acid that holds so many mol in a litre. Raises ValueError if none does."""
    greatest = of_wt_percent(acid, acid.greatest_wt_percent).mol_l
    if not 0 < mol_l <= greatest:
        raise ValueError(
            f"{acid.name} must be above 0 and at most {greatest:.1f} mol/L, got {mol_l:g}"
        )
    return of_g_l(acid, mol_l * acid.molar_mass_g)
