"""The parts in parallel on one cathode bar: a common voltage, each part's share of the current."""

from collections.abc import Sequence
from typing import NamedTuple

from drivers.simulator.electrochemistry import Electrode
from drivers.simulator.parameters import PartParameters
from drivers.simulator.part import Part
from drivers.simulator.solver import solve_increasing

VOLTAGE_TOLERANCE_V = 1e-9
CURRENT_TOLERANCE_A = 1e-9
QUICK_STEPS = 6
"""From the shares of a moment ago Newton needs one or two; more means that it does not fit."""


class Share(NamedTuple):
    """A part, its current in A, and how much of that makes copper, 0 to 1."""

    part: Part
    current_a: float
    copper_share: float


class Rack:
    """All parts of the tank, those that hang and those that were lost."""

    def __init__(self, parts: Sequence[PartParameters]) -> None:
        self.parts = tuple(Part(part) for part in parts)
        self.hanging = self.parts
        self._currents_a = [part.area_dm2 for part in self.parts]

    def hang(self, index: int, hangs: bool) -> None:
        """Let a part fall off its hook, or hang it up again."""
        self.hanging = tuple(
            part
            for number, part in enumerate(self.parts)
            if (hangs if number == index else part in self.hanging)
        )
        self._currents_a = [part.area_dm2 for part in self.hanging]

    def siemens(self, gap_ohm_dm2: float) -> float:
        """Conductance of bath and parts without any overpotential, S."""
        return sum(1.0 / part.ohmic_ohm(gap_ohm_dm2) for part in self.hanging)

    def voltage_at(
        self, current_a: float, electrode: Electrode, gap_ohm_dm2: float
    ) -> tuple[float, float, tuple[Share, ...]]:
        """(V from bath to bar, its slope in Ω, the shares) at `current_a` > 0, parts hanging."""
        if len(self.hanging) == 1:
            part = self.hanging[0]
            volts, slope, copper = part.voltage_at(current_a, electrode, gap_ohm_dm2)
            return volts, slope, (Share(part, current_a, copper),)
        return self._quickly(current_a, electrode, gap_ohm_dm2) or self._surely(
            current_a, electrode, gap_ohm_dm2
        )

    def _quickly(
        self, current_a: float, electrode: Electrode, gap: float
    ) -> tuple[float, float, tuple[Share, ...]] | None:
        """Newton on all currents at once, from the last shares; None where it leaves the ground.

        Each part's line v + r·(i' - i) meets the common voltage, the currents adding up.
        """
        last_a = self._currents_a
        total_a = sum(last_a)
        if total_a <= 0.0:  # the last search ended where nothing flows, and tells no shares
            return None
        scale = current_a / total_a
        currents = [part_a * scale for part_a in last_a]
        for _ in range(QUICK_STEPS):
            lines = [
                part.voltage_at(part_a, electrode, gap)
                for part, part_a in zip(self.hanging, currents, strict=True)
            ]
            siemens = sum(1.0 / slope for _, slope, _ in lines)
            volts = sum(v / slope for v, slope, _ in lines) / siemens
            if max(abs(volts - v) for v, _, _ in lines) <= VOLTAGE_TOLERANCE_V:
                self._currents_a = currents
                return volts, 1.0 / siemens, self._shares(lines)
            currents = [
                part_a + (volts - v) / slope
                for part_a, (v, slope, _) in zip(currents, lines, strict=True)
            ]
            if min(currents) <= 0.0:
                break
        return None

    def _surely(
        self, current_a: float, electrode: Electrode, gap: float
    ) -> tuple[float, float, tuple[Share, ...]]:
        """Bracketed search for the common voltage, and in it for each part's current."""

        def total_a(volts: float) -> tuple[float, float]:
            siemens = 0.0
            for index, part in enumerate(self.hanging):
                part_a, slope = _current_at(part, volts, electrode, gap)
                self._currents_a[index] = part_a
                siemens += 1.0 / slope
            return sum(self._currents_a), siemens

        # A part that had to carry everything alone would need at least the common voltage.
        most_v = min(part.voltage_at(current_a, electrode, gap)[0] for part in self.hanging)
        volts = solve_increasing(total_a, current_a, 0.0, most_v, 0.5 * most_v, CURRENT_TOLERANCE_A)
        _, siemens = total_a(volts)
        lines = [
            part.voltage_at(part_a, electrode, gap)
            for part, part_a in zip(self.hanging, self._currents_a, strict=True)
        ]
        return volts, 1.0 / siemens, self._shares(lines)

    def _shares(self, lines: list[tuple[float, float, float]]) -> tuple[Share, ...]:
        return tuple(
            Share(part, part_a, copper)
            for part, part_a, (_, _, copper) in zip(
                self.hanging, self._currents_a, lines, strict=True
            )
        )


def _current_at(part: Part, volts: float, electrode: Electrode, gap: float) -> tuple[float, float]:
    """(current in A, slope in Ω) of one part with `volts` > 0 across it and the bath before it."""

    def line(current_a: float) -> tuple[float, float]:
        return part.voltage_at(current_a, electrode, gap)[:2]

    # Overpotentials only lower the current, so that the ohmic part alone bounds it.
    most_a = volts / part.ohmic_ohm(gap)
    current_a = solve_increasing(line, volts, 0.0, most_a, 0.5 * most_a, VOLTAGE_TOLERANCE_V)
    return current_a, line(current_a)[1]
