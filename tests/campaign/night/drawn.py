"""What a seed says of a night: the workshop, its settings, the plan, and what is to happen when."""

from dataclasses import dataclass, field
from math import hypot
from random import Random

from daemon.service.settings.file import Settings
from drivers.simulator.parameters import BathParameters, PartParameters, SupplyParameters
from drivers.simulator.scenario import Scenario
from drivers.simulator.tank import Tank
from night import faults

LEAST_APART_S = 1500.0
"""s between two incidents at least, so that somebody has set the tank going again."""

LOOPS = {"lid": "hold", "level": "stop", "emergency stop": "abort"}

UM_PER_AH_DM2 = 3600 * 63.546 / (2 * 96485.33212) / 8.96 * 100
"""µm on 1 dm² for each A·h: F of CODATA 2018, copper of 8.96 g/cm³."""


@dataclass(frozen=True)
class Incident:
    """A fault that begins at a moment of the night, s from its start, and lasts so long, s."""

    fault: faults.Fault
    at_s: float
    lasts_s: float


@dataclass
class Drawn:
    """One night. `keeps` says that it writes a real record, which the process may die over.

    only: the name of the one fault that happens. short: an evening of an hour or so, in which what
    goes wrong comes as close as in a night, with fewer quiet hours. hours: how long it is.
    period_s: from reading to reading while anything happens; quiet_s: while nothing does.
    """

    seed: int
    only: str | None = None
    short: bool = False
    incidents: list = field(default_factory=list)

    def __post_init__(self):
        draw = Random(f"night {self.seed}")
        self.keeps = draw.random() < 0.2
        is_short = self.keeps or draw.random() < 0.1
        self.hours = draw.uniform(1.0, 3.0) if is_short else draw.uniform(6.0, 10.0)
        if self.short:
            self.hours = draw.uniform(0.7, 1.5)
        self.period_s = draw.choice((0.1, 0.2, 0.5))
        self.gap_s = draw.choice((1.0, 3.0, 6.0) if is_short else (6.0, 7.0))
        self.lost_s = max(3.0, self.gap_s)
        self.quiet_s = 0.7 * self.gap_s
        self.has_contactor = draw.random() < 0.5
        self.has_auxiliary = self.has_contactor and draw.random() < 0.7
        self.has_loops = draw.random() < 0.4
        self.has_signals = draw.random() < 0.5
        self.has_shunt = draw.random() < 0.35
        self.shunt_counts = self.has_shunt and draw.random() < 0.8
        self.has_thermometer = draw.random() < 0.3
        self.is_told = draw.random() < 0.5
        self.goes_on = self.keeps and draw.random() < 0.4
        self.tells_output = draw.random() < 0.8
        self._draw_tank(draw)
        self._draw_plan(draw)
        self._draw_meters(draw)
        self._draw_incidents(draw)
        self.course = Random(f"course {self.seed}")

    def _draw_tank(self, draw):
        self.area_dm2 = draw.uniform(0.5, 3.0)
        self.full_a = draw.uniform(1.0, 3.0) * self.area_dm2
        painted = draw.random() < 0.4
        parts = draw.choice((1, 1, 1, 1, 2, 4))
        bath = BathParameters(
            volume_l=draw.uniform(5.0, 30.0),
            temperature_c=draw.uniform(20.0, 27.0),
            ambient_c=draw.uniform(18.0, 26.0),
            electrode_gap_cm=draw.uniform(8.0, 20.0),
            anode_area_dm2=self.area_dm2 * draw.uniform(1.0, 2.0),
            exchange_a_per_dm2=draw.uniform(0.05, 0.5),
            lead_resistance_ohm=draw.uniform(0.01, 0.04) / max(1.0, self.area_dm2),
        )
        part = PartParameters(
            area_dm2=self.area_dm2 / parts,
            paint_ohm_per_sq=draw.uniform(0.1, 5.0) if painted else 0.0,
            covering_um=draw.uniform(0.1, 0.3),
        )
        supply = SupplyParameters(
            current_a=20.0,
            voltage_v=40.0,
            measured_current_step_a=1e-6,
            current_noise_a=draw.uniform(2e-4, 1e-3),
            slew_a_per_s=draw.uniform(5.0, 50.0),
        )
        self.scenario = Scenario(bath=bath, parts=(part,) * parts, supply=supply)
        bare = part.model_copy(update={"paint_ohm_per_sq": 0.0})
        self.full_v = Tank(bath, (bare,) * parts).voltage_at(self.full_a)

    def _draw_plan(self, draw):
        um_per_ah = UM_PER_AH_DM2 / self.area_dm2
        hours = self.hours * draw.uniform(0.2, 1.3)
        target_ah = self.full_a * hours
        self.charge_cap_ah = target_ah * draw.choice((0.5, 1.2, 1.5))
        self.duration_cap_s = 3600.0 * hours * draw.choice((0.6, 1.5, 2.0))
        ceiling_v = self.full_v * draw.uniform(1.8, 4.0) + 1.0
        self.ceiling_v = round(ceiling_v, 2)
        self.greatest_a = round(self.full_a, 3)
        stages = [("strike", 0.3 * self.full_a, 20.0, 'duration = "3 min"')]
        if draw.random() < 0.5:
            until = f'thickness = "{0.3 * target_ah * um_per_ah:.4f} µm"'
            stages.append(("build", 0.7 * self.full_a, draw.choice((0.0, 60.0)), until))
        stages.append(("finish", self.full_a, draw.choice((0.0, 30.0, 300.0)), None))
        lines = [
            'title = "Night"',
            f'area = "{self.area_dm2:.6f} dm²"',
            f'target = "{target_ah * um_per_ah:.4f} µm"',
            f'voltage_ceiling = "{self.ceiling_v} V"',
            f'caps = {{ charge = "{self.charge_cap_ah:.6f} Ah", '
            f'duration = "{self.duration_cap_s:.1f} s" }}',
        ]
        for name, current_a, ramp_s, until in stages:
            lines += ["[[stage]]", f'name = "{name}"', f'current = "{current_a:.3f} A"']
            lines += [f'ramp = "{ramp_s} s"'] if ramp_s else []
            lines += [f"until = {{ {until} }}"] if until else []
        self.plan_text = "\n".join(lines) + "\n"

    def _draw_meters(self, draw):
        """Each meter as wrong as its maker allows: gain (relative) and offset (A) within limits."""
        self.gain_limit = draw.choice((0.005, 0.01))
        self.offset_limit_a = draw.choice((0.002, 0.008))
        self.errors = {
            name: (
                1.0 + draw.uniform(-1.0, 1.0) * self.gain_limit,
                draw.uniform(-1.0, 1.0) * self.offset_limit_a,
            )
            for name in ("supply", "shunt")
        }

    def _draw_incidents(self, draw):
        """From none to four incidents, a fault each or a pair of them."""
        able = [fault for fault in faults.ALL.values() if fault.fits(self)]
        if self.only is not None:
            able = [faults.ALL[self.only]]
        count = draw.choice((0, 1, 2, 3, 4) if not self.keeps else (1, 1, 2))
        at_s = draw.uniform(60.0, 1500.0)
        end_s = 3600.0 * self.hours - 120.0
        for _ in range(count):
            if at_s > end_s:
                break
            pair = draw.random() < 0.5
            for fault in [draw.choice(able) for _ in range(2 if pair else 1)]:
                apart_s = draw.choice((0.0, draw.uniform(0.0, 2.0), draw.uniform(0.0, 60.0)))
                lasts_s = fault.least_s * (fault.most_s / fault.least_s) ** draw.random()
                self.incidents.append(Incident(fault, at_s + apart_s, lasts_s))
            at_s += LEAST_APART_S + draw.expovariate(1.0) * 3600.0 * self.hours / 5
        self.incidents.sort(key=lambda incident: incident.at_s)

    @property
    def counting(self):
        """The name of the meter that counts."""
        return "shunt" if self.shunt_counts else "supply"

    @property
    def gone_a(self):
        """A. What surely flows in the tank where a meter at its limits still shows no current."""
        at_rest_a = 3.0 * hypot(self.offset_limit_a / 3**0.5, 0.001)
        return (max(0.02, at_rest_a) + self.offset_limit_a) / (1.0 - self.gain_limit) + 0.006

    def settings(self):
        """The daemon's settings, as a file would give them."""
        accuracy = {
            "gain": f"{100 * self.gain_limit} %",
            "offset": f"{1000 * self.offset_limit_a} mA",
            "noise": "1 mA",
        }
        table = {
            "supply": {"port": "/dev/supply", "accuracy": accuracy},
            "bath": {"name": "night"},
            "record": {"path": "/nowhere/record.sqlite"},
            "loop": {
                "period": f"{self.period_s} s",
                "gap": f"{self.gap_s} s",
                "lost": f"{self.lost_s} s",
            },
        }
        if self.has_contactor:
            table["contactor"] = {"heartbeat_pin": 17, "pull_in": "1 s", "drop_out": "1 s"}
            if self.has_auxiliary:
                table["contactor"]["auxiliary_pin"] = 27
        if self.has_loops:
            table["interlock"] = [
                {"name": name, "pin": pin, "stop": stop}
                for pin, (name, stop) in enumerate(LOOPS.items(), start=22)
            ]
        if self.has_signals:
            table |= {"beacon": {"pin": 16}, "siren": {"pin": 20}}
            table["acknowledge_button"] = {"pin": 26}
        if self.has_thermometer:
            table["thermometer"] = [{"name": "bath", "description": "ds18b20"}]
        if self.is_told:
            table["tell"] = [{"name": "phone", "address": "json://192.168.1.20:8000/tank"}]
        if self.goes_on:
            table["after_interruption"] = {"go_on": True, "within": "2 min"}
        return Settings.model_validate(table)
