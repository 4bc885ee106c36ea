"""Tanks whose truth only the simulator knows, and their runs as a record would have them."""

from dataclasses import dataclass
from math import exp
from random import Random

from daemon.api.plans.file import read_plan
from daemon.chemistry.uncertainty import NO_DOUBT
from daemon.control.protection.detectors.thresholds import Thresholds
from daemon.control.situation import Limits
from daemon.service.rehearsal.learning import Past, Seen
from daemon.service.rehearsal.supposed import Facts
from daemon.service.rehearsal.walked import Rules, walk
from drivers.simulator.parameters import BathParameters, PartParameters, SupplyParameters
from drivers.simulator.scenario import Scenario

SUPPLY = SupplyParameters(
    current_a=20.0, voltage_v=30.0, current_noise_a=0.0, voltage_noise_v=0.0,
    measured_current_step_a=1e-6, measured_voltage_step_v=1e-6,
)  # fmt: skip
RULES = Rules(Limits(), Thresholds(), NO_DOUBT)

PLAN = """\
title = "Night"
area = "{area} dm²"
target = "{target} µm"
voltage_ceiling = "6 V"
caps = {{ charge = "100 Ah", duration = "24 h" }}
[[stage]]
name = "strike"
current_density = "0.4 A/dm²"
ramp = "2 min"
until = {{ thickness = "2 µm" }}
[[stage]]
name = "full"
current_density = "{density} A/dm²"
ramp = "5 min"
"""


def plan(area=2.0, target=20.0, density=2.0):
    return read_plan(PLAN.format(area=area, target=target, density=density), "plan")


@dataclass
class Hidden:
    """A tank drawn at random, wider than anything is told of it; runs of it differ a little."""

    seed: int
    volume_l: float = 15.0

    def __post_init__(self):
        draw = self.draw = Random(f"hidden {self.seed}")
        self.gap_cm = draw.uniform(8.0, 20.0)
        self.exchange = 10.0 ** draw.uniform(-1.3, -0.2)
        self.leads = draw.uniform(0.01, 0.05)
        self.paint = 10.0 ** draw.uniform(-0.7, 1.0)
        self.percent_per_k = draw.uniform(1.0, 2.0)
        self.layer = draw.uniform(25.0, 80.0)
        self.loss = draw.uniform(2.0, 6.0)
        self.ambient = draw.uniform(18.0, 26.0)
        self.anode = draw.uniform(3.0, 8.0)
        self.conductivity = draw.uniform(150.0, 260.0)
        self.given = draw.gauss(1.0, 0.003)

    @property
    def facts(self):
        return Facts(volume_l=self.volume_l, anode_dm2=self.anode)

    def scenario(self, area_dm2, copies=1):
        """The tank as it is in its next run: parts hang otherwise, the room is another."""
        draw = self.draw
        bath = BathParameters(
            volume_l=self.volume_l,
            conductivity_ms_per_cm=self.conductivity,
            conductivity_percent_per_k=self.percent_per_k,
            temperature_c=self.ambient + draw.gauss(0.5, 1.0),
            ambient_c=self.ambient + draw.gauss(0.0, 1.0),
            heat_loss_w_per_k=self.loss,
            electrode_gap_cm=self.gap_cm * exp(draw.gauss(0.0, 0.05)),
            anode_area_dm2=self.anode,
            diffusion_layer_um=self.layer,
            exchange_a_per_dm2=self.exchange,
            lead_resistance_ohm=self.leads,
        )
        part = PartParameters(
            area_dm2=area_dm2 / copies,
            paint_ohm_per_sq=self.paint * exp(draw.gauss(0.0, 0.3)),
            paint_squares=2.0,
            covering_um=0.3 * exp(draw.gauss(0.0, 0.3)),
        )
        return Scenario(bath=bath, parts=(part,) * copies, supply=SUPPLY)

    def run(self, of_plan, copies=1):
        """The next run: the truth of its walk."""
        rules = Rules(RULES.limits, RULES.thresholds, NO_DOUBT, self.given)
        made = self.scenario(of_plan.area_dm2, copies)
        self.temperature_c = made.bath.temperature_c
        return walk(of_plan, made, rules)

    def past(self, walked, of_plan, run_id=1, thermometer=True):
        """What a record has of it: about fifty points with a meter's noise."""
        steady = [p for p in walked.points if not p.ramping and p.current_a > 0.05]
        step = max(1, len(steady) // 45)
        seen = []
        for p in steady[::step]:
            seen.append(
                Seen(
                    p.at_s,
                    p.current_a,
                    p.voltage_v + self.draw.gauss(0.0, 0.003),
                    p.charge_ah * 1.185495,  # g/Ah: 3600·63.546/(2·96485.33212)
                    of_plan.stages[p.stage].current_a,
                    p.temperature_c if thermometer else None,
                )
            )
        growth = 1.185495 / 8.96 / of_plan.area_dm2 * 100.0 / 1.185495
        return Past(
            run_id, of_plan.area_dm2, tuple(seen), tuple(growth * s.deposited_g for s in seen)
        )
