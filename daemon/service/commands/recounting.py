"""Counts a log by the rules of this daemon; what it comes to, and how sure that is."""

from dataclasses import dataclass
from itertools import chain, islice

from daemon.api.calibration.log_columns import Told
from daemon.api.calibration.log_file import Content, LogFile, Unread
from daemon.api.errors import InputError
from daemon.chemistry.electrolysis import g_per_ah, um_per_ah
from daemon.chemistry.metals import Metal
from daemon.chemistry.uncertainty import Budget, MeterDoubt, rectangular, thickness_budget
from daemon.control.tally import (
    CurrentIs,
    Rule,
    Tally,
    tally_groups,
    tally_run,
    usual_interval_s,
)

GAP_INTERVALS = 5
"""Where no gap limit is told: so many usual intervals, the median of the first `_LOOKED_AT` rows.
A logger that is late once is forgiven, one that was stopped is not (our choice)."""

_LOOKED_AT = 1000


@dataclass(frozen=True, slots=True)
class Accuracy:
    """What is known of the accuracy. Limits: the truth lies anywhere within ± the limit.

    Limits are shares of the value but for `offset_limit`, A; `noise` is one reading's standard
    deviation and `resolution` the smallest step of the current, both A.
    """

    gain_limit: float = 0.0
    offset_limit: float = 0.0
    noise: float = 0.0
    resolution: float = 0.0
    clock_limit: float = 0.0
    area_limit: float = 0.0
    efficiency_limit: float = 0.0

    @property
    def doubt(self) -> MeterDoubt:
        """The meter's part as standard uncertainties."""
        return MeterDoubt(
            gain=rectangular(self.gain_limit),
            offset_a=rectangular(self.offset_limit),
            noise_a=self.noise,
            clock=rectangular(self.clock_limit),
            step_a=self.resolution,
            of_limits=True,
        )

    @property
    def of_meter_is_told(self) -> bool:
        """Whether anything was told of the meter."""
        of_meter = (self.gain_limit, self.offset_limit, self.noise, self.resolution)
        return any((*of_meter, self.clock_limit))


@dataclass(frozen=True, slots=True)
class Request:
    """How a log is to be counted.

    `gap_limit_s` None: by the log's usual interval; `area_dm2` None: no thickness. `bad_share` is
    the greatest share of rows that may be unreadable.
    """

    told: Told
    metal: Metal
    delimiter: str | None = None
    gap_limit_s: float | None = None
    bad_share: float = 0.01
    area_dm2: float | None = None
    efficiency: float = 1.0
    accuracy: Accuracy = Accuracy()


@dataclass(frozen=True, slots=True)
class Recounted:
    """A counted log: how it was read, how counted, what it came to, and the SHA-256 of its text."""

    log: LogFile
    request: Request
    rule: Rule
    groups: dict[str, Tally]
    sha256: str

    @property
    def total(self) -> Tally:
        """All groups together."""
        return sum(self.groups.values(), Tally())

    @property
    def rows(self) -> int:
        """All rows, also those that could not be read."""
        return self.total.readings + self.log.unread.rows

    @property
    def charge(self) -> Budget:
        """The net charge, A·h."""
        return self.total.budget(self.request.accuracy.doubt)

    @property
    def mass(self) -> Budget:
        """The mass, g."""
        return self._deposit(g_per_ah(self.request.metal, self.request.efficiency), area_limit=0.0)

    @property
    def thickness(self) -> Budget | None:
        """The mean thickness, µm; None without an area."""
        request = self.request
        if request.area_dm2 is None:
            return None
        per_ah = um_per_ah(request.metal, request.area_dm2, request.efficiency)
        return self._deposit(per_ah, request.accuracy.area_limit)

    def _deposit(self, per_ah: float, area_limit: float) -> Budget:
        """What follows from the charge in proportion: a mass is a thickness with a sure area."""
        efficiency = rectangular(self.request.accuracy.efficiency_limit)
        return thickness_budget(self.charge, per_ah, rectangular(area_limit), efficiency)


def count(log: LogFile, content: Content, request: Request) -> Recounted:
    """Count a log in one pass. Raises InputError when too little of it can be read."""
    readings = log.readings()
    first = list(islice(readings, _LOOKED_AT))
    usual_s = usual_interval_s(first)
    if usual_s is None:
        raise InputError(log.where, _too_little(log.unread, len(first)))
    limit_s = request.gap_limit_s or GAP_INTERVALS * usual_s
    rule = Rule(CurrentIs(log.layout.current_is), limit_s)
    everything = chain(first, readings)
    try:
        if request.told.group_column is None:
            groups = {"": tally_run(everything, rule)[0]}
        else:
            groups = tally_groups(everything, rule)
    except ValueError as error:
        raise InputError(log.where, (f"--group-by: {error}",)) from error
    counted = Recounted(log, request, rule, groups, content.sha256())
    unread = log.unread
    if unread.rows > request.bad_share * counted.rows:
        raise InputError(
            log.where,
            (
                f"{unread.rows} of {counted.rows} rows cannot be read, more than "
                f"{100 * request.bad_share:g} % (--bad-rows); "
                f"the first is line {unread.first_line}: {unread.why}",
            ),
        )
    return counted


def _too_little(unread: Unread, readable: int) -> tuple[str]:
    said = f"{readable} of {readable + unread.rows} rows can be read, and no two with rising time"
    if unread.rows:
        said += f"; the first that cannot is line {unread.first_line}: {unread.why}"
    return (said,)
