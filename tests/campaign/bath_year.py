"""A year of a bath with a truth of its own: does the balance's 95 % band hold it?

200 runs, filling up, doses, samples, four analyses, a treatment with carbon. What the bath really
does is drawn anew for each year from what is stated as not known, and worked out here, with sums
and constants of its own. The account gets what a careful person would enter, with that person's
errors; what is expected is looked at on each day, beside the truth.
"""

import argparse
import random
import sys
from dataclasses import dataclass, field

from daemon.bath import account
from daemon.bath.description import Additive, Description, Window
from daemon.bath.expected import over_time
from daemon.chemistry.restoring import Found, Source, addition
from daemon.chemistry.restoring import Window as RestoringWindow
from daemon.record.bath_entries import BathEntry
from daemon.record.charge_at import Passed
from daemon.record.entries import BathEntered

DAY_MS = 86_400_000
DAYS, RUNS = 365, 200
ANALYSED = (60, 150, 240, 330)
CARBON_DAY = 200
FIRST_SEED = 500_000

VOLUME_L = 15.0
TARGET_G_L = {"copper": 52.0, "sulfuric acid": 60.0}
BATH = Description(
    name="year",
    volume_l=VOLUME_L,
    window={
        "copper": Window(46.0, 52.0, 60.0),
        "sulfuric acid": Window(45.0, 60.0, 75.0),
        "chloride": Window(50.0, 70.0, 110.0),
        "brightener": Window(2.0, None, 8.0),
    },
    additives=(Additive("brightener", 150.0, 6.0, 5.0),),
    evaporation_l_d=0.10,
    drag_out_ml_dm2=1.0,
)
COPPER_G_AH = 63.546 * 3600 / (2 * 96485.33212)


@dataclass
class Truth:
    """What is really in the bath, g, mL, L, and what it really does."""

    draw: random.Random
    volume_l: float = 0.0
    held: dict[str, float] = field(default_factory=dict)
    charge_ah: float = 0.0

    def __post_init__(self):
        draw = self.draw
        self.excess = draw.gauss(0.005, 0.005)
        self.evaporation_l_d = max(0.0, draw.gauss(0.10, 0.03))
        self.drag_out_l_dm2 = max(0.0, draw.gauss(0.001, 0.0003))
        self.use_ml_ah = max(0.0, draw.gauss(0.15, 0.045))
        self.volume_l = VOLUME_L * (1 + draw.gauss(0, 0.02))
        meant = {"copper": 52 * VOLUME_L, "sulfuric acid": 60 * VOLUME_L, "chloride": 1.05}
        self.held = {name: amount * (1 + draw.gauss(0, 0.01)) for name, amount in meant.items()}
        self.held["brightener"] = 5 * VOLUME_L * (1 + draw.gauss(0, 0.03))

    def in_a_day(self):
        self.volume_l -= max(0.0, self.evaporation_l_d * (1 + self.draw.gauss(0, 0.3)))

    def run(self, charge_ah, area_dm2):
        self.charge_ah += charge_ah
        copper_g = self.excess * charge_ah * COPPER_G_AH
        self.held["copper"] += copper_g
        self.held["sulfuric acid"] -= copper_g / 63.546 * 98.0783
        self.held["brightener"] -= self.use_ml_ah * charge_ah
        self.take(max(0.0, area_dm2 * self.drag_out_l_dm2 * (1 + self.draw.gauss(0, 0.3))))

    def take(self, volume_l):
        left = 1 - volume_l / self.volume_l
        self.volume_l -= volume_l
        self.held = {name: amount * left for name, amount in self.held.items()}

    def put(self, name, amount, scatter):
        self.held[name] += amount * (1 + self.draw.gauss(0, scatter))

    def concentration(self, name):
        return self.held[name] / self.volume_l * (1e3 if name == "chloride" else 1)


@dataclass
class Year:
    """One year as it went: by component on how many days the band held the truth, and how wide."""

    seed: int
    held: dict[str, int] = field(default_factory=dict)
    days: int = 0
    half_widths: dict[str, float] = field(default_factory=dict)
    suggested: int = 0
    overshot: list[str] = field(default_factory=list)
    entries: list[BathEntry] = field(default_factory=list)
    passed: list[Passed] = field(default_factory=list)
    charge_ah: float = 0.0


class Keeper:
    """Enters what was done, as the daemon would keep it."""

    def __init__(self, year):
        self.year = year

    def enter(self, day, kind, amounts=None, facts=None):
        at_ms = round(day * DAY_MS)
        made = BathEntered("year", kind, "anna", at_ms, at_ms, amounts or {}, facts or {})
        self.year.entries.append(BathEntry(len(self.year.entries) + 1, made))

    def expected(self, day):
        return over_time(
            account.holding(self.year.entries), self.year.passed, BATH, [round(day * DAY_MS)]
        )[0]


def live(seed):
    """Live through a year, and look at what was expected on each day."""
    draw = random.Random(seed)
    truth, year = Truth(draw), Year(seed)
    keeper = Keeper(year)
    made = {"volume": VOLUME_L, "copper": 52 * VOLUME_L, "sulfuric acid": 60 * VOLUME_L}
    keeper.enter(0.0, "make-up", {**made, "chloride": 1.05, "brightener": 5 * VOLUME_L})
    runs = sorted(draw.sample(range(1, 2 * DAYS), RUNS))
    truths = []
    owed_ml = 0.0
    for day in range(1, DAYS + 1):
        truth.in_a_day()
        for half in (0, 1):
            if 2 * (day - 1) + half in runs:
                charge_ah, area_dm2 = draw.uniform(2, 12), draw.uniform(1, 5)
                truth.run(charge_ah, area_dm2)
                year.passed.append(
                    Passed(round((day - 0.6 + half / 4) * DAY_MS), charge_ah, area_dm2)
                )
                owed_ml += 0.15 * charge_ah
        if owed_ml >= 6:
            owed_ml -= 6
            truth.put("brightener", 6, 0.03)
            keeper.enter(day - 0.30, "dose", {"brightener": 6.0})
        if day % 7 == 0:
            _fill_up(truth, keeper, day - 0.25)
        if day == CARBON_DAY:
            _treat(truth, keeper, day - 0.2)
        if day in ANALYSED:
            _analyse(truth, keeper, year, day - 0.1)
        truths.append({name: truth.concentration(name) for name in truth.held})
    _judge(year, truths)
    year.charge_ah = truth.charge_ah
    return year


def _fill_up(truth, keeper, day):
    """Water up to the mark, which is met as well as one can."""
    mark_l = VOLUME_L * (1 + truth.draw.gauss(0, 0.02))
    water_l = mark_l - truth.volume_l
    if water_l <= 0:
        return
    truth.volume_l = mark_l
    measured_l = water_l * (1 + truth.draw.gauss(0, 0.03))
    keeper.enter(day, "water", {"volume": measured_l}, {"level_l": VOLUME_L})


def _treat(truth, keeper, day):
    """Carbon takes most of the brightener; it gets its make-up anew."""
    truth.held["brightener"] *= max(0.0, truth.draw.gauss(0.1, 0.1))
    keeper.enter(day, "carbon treatment", facts={"carbon_g": 60.0})
    truth.put("brightener", 5 * VOLUME_L, 0.03)
    keeper.enter(day + 0.01, "addition", {"brightener": 5 * VOLUME_L})


def _analyse(truth, keeper, year, day):
    """A sample, an analysis of it, and what brings the bath back by what is expected then."""
    truth.take(0.05)
    keeper.enter(day, "sample", {"volume": -0.05})
    results = {}
    for name, share in (("copper", 0.01), ("sulfuric acid", 0.01), ("chloride", 0.05)):
        true = truth.concentration(name)
        results[name] = {"value": true * (1 + truth.draw.gauss(0, share)), "u": true * share}
    keeper.enter(day + 0.001, "analysis", facts={"results": results})
    now = keeper.expected(day + 0.002)
    for each in now.components:
        if each.name not in TARGET_G_L:
            continue
        window = BATH.window[each.name]
        asked = addition(
            Found(each.value, each.half_width),
            RestoringWindow(TARGET_G_L[each.name], TARGET_G_L[each.name], window.greatest),
            now.volume_l,
            Source(1.0),
        )
        if asked is None:
            continue
        year.suggested += 1
        truth.put(each.name, asked.amount, 0.01)
        keeper.enter(day + 0.01, "addition", {each.name: asked.amount})
        if truth.concentration(each.name) > window.greatest:
            year.overshot.append(f"{each.name} on day {day:.0f}")


def _judge(year, truths):
    moments = [day * DAY_MS for day in range(1, DAYS + 1)]
    holding = account.holding(year.entries)
    for true, seen in zip(truths, over_time(holding, year.passed, BATH, moments), strict=True):
        year.days += 1
        for each in seen.components:
            inside = each.value - each.half_width <= true[each.name] <= each.value + each.half_width
            year.held[each.name] = year.held.get(each.name, 0) + inside
            width = each.half_width / each.value
            year.half_widths[each.name] = year.half_widths.get(each.name, 0.0) + width


def main():
    """Live through so many years and print how they went; 1 if an aim was missed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--years", type=int, default=200)
    parser.add_argument("--first-seed", type=int, default=FIRST_SEED)
    options = parser.parse_args()
    last = options.first_seed + options.years - 1
    sys.stdout.write(f"seeds {options.first_seed} to {last}\n")
    years = [live(options.first_seed + number) for number in range(options.years)]
    days = sum(year.days for year in years)
    names = list(years[0].held)
    shares = {name: sum(year.held[name] for year in years) / days for name in names}
    for name in names:
        width = sum(year.half_widths[name] for year in years) / days
        sys.stdout.write(
            f"{name}: band holds the truth on {100 * shares[name]:.1f} % of days; "
            f"± {100 * width:.1f} % of the value in the mean\n"
        )
    share = sum(shares.values()) / len(shares)
    overshot = [f"seed {year.seed}: {what}" for year in years for what in year.overshot]
    asked = sum(year.suggested for year in years)
    sys.stdout.write(f"all: {100 * share:.1f} % (aim: at least 93 %)\n")
    sys.stdout.write(f"additions suggested: {asked}, beyond the window: {len(overshot)} (aim: 0)\n")
    for line in overshot:
        sys.stdout.write(f"  {line}\n")
    return int(share < 0.93 or bool(overshot))


if __name__ == "__main__":
    sys.exit(main())
