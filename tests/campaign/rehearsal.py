"""How often what really happens lies within what a rehearsal foretold, on tanks of hidden truth.

Each tank is drawn at random and runs some plans; a rehearsal learns from these runs as a record has
them, foretells the next plan, and then the tank runs it. 95 % are stated.

    python tests/campaign/rehearsal.py --tanks 50 --runs 4
"""

import click
import numpy as np
from hidden_tanks import RULES, SUPPLY, Hidden, plan

from daemon.control.situation import NOTHING_CARRIED
from daemon.service.rehearsal.learning import learn
from daemon.service.rehearsal.spread import Spread, at_times, drawn, walk_on

TIMES = 60


def foretold(seed, runs):
    """One tank: what of it was within its band.

    Shares of the time of voltage and bath temperature, whether the end was in its range, and the
    width of the voltage's band as a share of its middle.
    """
    tank = Hidden(seed)
    draw = tank.draw
    plans = [
        plan(draw.uniform(1.0, 4.0), draw.uniform(10.0, 30.0), draw.uniform(1.0, 3.0))
        for _ in range(runs + 1)
    ]
    past = [tank.past(tank.run(each), each, number) for number, each in enumerate(plans[:runs])]
    learned = learn(tank.facts, past)
    truth = tank.run(plans[-1])
    tanks = drawn(plans[-1], 1, tank.facts, learned, SUPPLY, tank.temperature_c)
    nominal, *walks = [walk_on(plans[-1], RULES, NOTHING_CARRIED, each) for each in tanks]
    found = Spread(nominal, tuple(walks))
    duration = found.range(lambda walk: walk.duration_s)
    end_s = min(truth.duration_s, found.nominal.duration_s)
    times_s = np.linspace(0.0, 0.98 * end_s, TIMES)

    def within(value):
        there = at_times([truth], times_s, value)
        band = at_times(found.walks, times_s, value)
        both = [(a, b) for a, b in zip(there, band, strict=True) if a and b]
        width = np.median([(b.greatest - b.least) / b.middle for _, b in both])
        return np.mean([b.least <= a.middle <= b.greatest for a, b in both]), width

    voltage, width = within(lambda point: point.voltage_v)
    warm, _ = within(lambda point: point.temperature_c)
    return voltage, warm, duration.least <= truth.duration_s <= duration.greatest, width


@click.command()
@click.option("--tanks", default=50, show_default=True)
@click.option("--runs", default=4, show_default=True, help="Earlier runs of each tank.")
@click.option("--first-seed", default=0, show_default=True)
def main(tanks, runs, first_seed):
    """Print the shares that were within, over all tanks."""
    found = np.array([foretold(first_seed + k, runs) for k in range(tanks)], dtype=float)
    voltage, warm, finish = (100.0 * found[:, k].mean() for k in range(3))
    width = 100.0 * np.median(found[:, 3])
    click.echo(
        f"{tanks} tanks after {runs} runs: within 95 %: voltage {voltage:.1f} % of the time, bath "
        f"{warm:.1f} %, end {finish:.1f} %; width of the voltage's band {width:.0f} %"
    )


if __name__ == "__main__":
    main()
