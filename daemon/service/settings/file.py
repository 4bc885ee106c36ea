"""The settings file: which supply on which port, which bath, where the record lies."""

import math
from pathlib import Path
from typing import Annotated, TypeVar

from pydantic import Field, model_validator

from daemon.api.bath.table import BathTable
from daemon.api.errors import InputError
from daemon.api.explain import read_toml
from daemon.api.quantities import DurationS
from daemon.chemistry.uncertainty import NO_DOUBT, MeterDoubt
from daemon.clock import Clock, RatedClock, SystemClock
from daemon.control.protection.effects import Table as CauseAndEffect
from daemon.control.situation import Limits
from daemon.service.devices.device_settings import (
    SUPPLY,
    ChannelTable,
    MeterTable,
    RolesTable,
    SupplyTable,
)
from daemon.service.devices.pin_settings import (
    ButtonTable,
    ContactorTable,
    InterlockTable,
    SignalTable,
    pin_conflict,
)
from daemon.service.proof.proof_settings import ProofTable
from daemon.service.pumps.pump_settings import PumpTable, pump_problem
from daemon.service.settings.effects import EffectsTable, effects_table
from daemon.service.settings.page import PageTable
from daemon.service.settings.table import Table
from daemon.service.settings.thresholds import Chosen, chosen
from daemon.service.starts.resuming import AfterInterruptionTable
from daemon.service.supervision.first_look import description_at
from daemon.service.telling.tell_settings import TellingTable, TellTable, tell_problem

GONE_STEPS = 3
"""Steps of the supply's current below which its output counts as off, if that is more than
`Limits.gone_a`: an idle ammeter flickers by its last digit or two (common practice)."""

GONE_DOUBTS = 3
"""Standard uncertainties of the counting meter around 0 A, likewise: a shunt for large currents
shows some tens of mA for none."""

LEAST_BEAT_LIMIT_S = 0.2
"""Twice the longest rest of a loop that has nothing to do, `daemon.service.cycle.runner.REST_S`."""


class RecordTable(Table):
    """Where the record lies."""

    path: Path = Field(
        default=Path("record.sqlite"), description="a file", examples=['"record.sqlite"']
    )


class LoopTable(Table):
    """The loop's times; see `daemon.control.situation.Limits`."""

    period: DurationS = Field(default=0.1, description="from one reading to the next")
    gap: DurationS = Field(default=1.0, description="readings further apart are not joined")
    lost: DurationS = Field(
        default=3.0, description="without a reading for this long a run is aborted"
    )
    restart: DurationS = Field(
        default=10.0, description="how long the current takes to come back after a hold"
    )

    @model_validator(mode="after")
    def _in_order(self) -> "LoopTable":
        if not self.period < self.gap <= self.lost:
            raise ValueError(
                "times must rise: period < gap <= lost, got "
                f"{self.period:g} s, {self.gap:g} s, {self.lost:g} s"
            )
        return self


class GuardTable(Table):
    """The guard: how long the loop may be silent before the output is switched off past it."""

    beat_limit: DurationS = Field(
        default=0.5, description="of silence, after which the guard switches the output off"
    )

    @model_validator(mode="after")
    def _above_a_hiccup(self) -> "GuardTable":
        if self.beat_limit < LEAST_BEAT_LIMIT_S:
            raise ValueError(
                f"beat_limit must be at least {LEAST_BEAT_LIMIT_S:g} s, got {self.beat_limit:g} s: "
                "a healthy loop may be silent for as long"
            )
        return self


class DaemonTable(Table):
    """The daemon's own places."""

    socket: Path = Field(
        default=Path("control.sock"), description="where commands and the page reach the daemon"
    )


class SimulationTable(Table):
    """The time line of a simulated tank, and its kernel's files.

    Without this table time is the machine's own, and so is `/sys`.
    """

    rate: Annotated[float, Field(gt=0, le=10_000)] = 1.0
    origin_s: float = 0.0
    sysfs: Path | None = None


class Settings(Table):
    """The whole file. Paths are relative to the file's folder."""

    supply: SupplyTable
    bath: BathTable
    meter: tuple[MeterTable, ...] = ()
    thermometer: tuple[ChannelTable, ...] = ()
    roles: RolesTable = RolesTable()
    contactor: ContactorTable | None = None
    interlock: tuple[InterlockTable, ...] = ()
    beacon: SignalTable | None = None
    siren: SignalTable | None = None
    acknowledge_button: ButtonTable | None = None
    pump: tuple[PumpTable, ...] = ()
    effects: dict[str, EffectsTable] = Field(default_factory=dict)
    thresholds: dict[str, object] = Field(default_factory=dict)
    tell: tuple[TellTable, ...] = ()
    telling: TellingTable = TellingTable()
    proof: ProofTable = ProofTable()
    after_interruption: AfterInterruptionTable = AfterInterruptionTable()
    record: RecordTable = RecordTable()
    loop: LoopTable = LoopTable()
    guard: GuardTable = GuardTable()
    daemon: DaemonTable = DaemonTable()
    page: PageTable = PageTable()
    simulation: SimulationTable | None = None

    @model_validator(mode="after")
    def _names_are_known(self) -> "Settings":
        names = [SUPPLY, *(table.name for table in (*self.meter, *self.thermometer))]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise ValueError(f"names of meters must differ: {', '.join(twice)} is there twice")
        counting = [SUPPLY, *(table.name for table in self.meter)]
        if self.roles.counts is not None and self.roles.counts not in counting:
            raise ValueError(
                f"roles.counts must be one of {', '.join(counting)}, got {self.roles.counts!r}"
            )
        return self

    @model_validator(mode="after")
    def _pins_have_one_owner(self) -> "Settings":
        conflict = pin_conflict(
            self.contactor,
            self.interlock,
            self.beacon,
            self.siren,
            self.acknowledge_button,
            [(f"the pump of {table.additive!r}", table.pin) for table in self.pump],
        )
        if conflict is not None:
            raise ValueError(conflict)
        return self

    @model_validator(mode="after")
    def _pumps_have_their_additives_and_loops(self) -> "Settings":
        problem = pump_problem(self.pump, self.bath, [loop.name for loop in self.interlock])
        if problem is not None:
            raise ValueError(problem)
        return self

    @model_validator(mode="after")
    def _effects_have_something_behind_them(self) -> "Settings":
        self.cause_and_effect()
        return self

    @model_validator(mode="after")
    def _thresholds_are_some(self) -> "Settings":
        try:
            self.chosen_thresholds()
        except ValueError as error:
            raise ValueError(f"thresholds.{error}") from error
        return self

    @model_validator(mode="after")
    def _somebody_is_told(self) -> "Settings":
        problem = tell_problem(self.tell)
        if problem is not None:
            raise ValueError(problem)
        return self

    @property
    def has_pins(self) -> bool:
        """Whether anything hangs on the machine's pins."""
        single = (self.contactor, self.beacon, self.siren, self.acknowledge_button)
        return bool(self.interlock or self.pump) or any(table is not None for table in single)

    def limits(
        self, current_step_a: float, period_s: float | None = None, doubt: MeterDoubt = NO_DOUBT
    ) -> Limits:
        """The limits that control works with, for a supply whose current has steps this large.

        `period_s` and `doubt` are those of the meter that counts; without them, the supply does.
        """
        loop, least = self.loop, Limits()
        slowest_s = max(loop.period, period_s or 0.0)
        at_rest_a = math.hypot(doubt.offset_a, doubt.noise_a)
        return Limits(
            period_s=loop.period,
            gap_s=loop.gap,
            lost_s=loop.lost,
            down_s=max(least.down_s, 2 * slowest_s),
            off_s=max(least.off_s, 5 * slowest_s),
            gone_a=max(least.gone_a, GONE_STEPS * current_step_a, GONE_DOUBTS * at_rest_a),
            restart_s=loop.restart,
            settle_s=max(least.settle_s, 2 * slowest_s),
            pull_in_s=0.0 if self.contactor is None else self.contactor.pull_in,
            drop_out_s=0.0 if self.contactor is None else self.contactor.drop_out,
            table=self.cause_and_effect(),
        )

    def cause_and_effect(self) -> CauseAndEffect:
        """The cause and effect table. Raises ValueError for effects that nothing is there for."""
        return effects_table(
            self.effects,
            {loop.name: loop for loop in self.interlock},
            has_beacon=self.beacon is not None,
            has_siren=self.siren is not None,
            can_tell=bool(self.tell),
        )

    def chosen_thresholds(self) -> Chosen:
        """What the detectors have to see. Raises ValueError."""
        return chosen(self.thresholds)

    def clock(self) -> Clock:
        """The clock of this daemon."""
        if self.simulation is None:
            return SystemClock()
        return RatedClock(self.simulation.rate, self.simulation.origin_s)

    @property
    def rate(self) -> float:
        """How fast the daemon's clock runs; 1 but for simulations."""
        return 1.0 if self.simulation is None else self.simulation.rate


def read_settings(path: Path) -> Settings:
    """The settings in the file `path`, their paths made absolute. Raises `InputError`."""
    try:
        text = path.read_text(encoding="utf-8")
    except OSError as error:
        raise InputError(str(path), (f"cannot be read: {error.strerror or error}",)) from error
    except UnicodeDecodeError as error:
        raise InputError(str(path), (f"is not UTF-8 text: {error}",)) from error
    settings = read_toml(text, str(path), Settings)
    folder = path.absolute().parent
    return settings.model_copy(
        update={
            # What stands in the file is still known of them.
            "record": RecordTable.model_construct(
                settings.record.model_fields_set, path=folder / settings.record.path
            ),
            "daemon": DaemonTable.model_construct(
                settings.daemon.model_fields_set, socket=folder / settings.daemon.socket
            ),
            "simulation": _simulated(settings.simulation, folder),
            "supply": _placed(settings.supply, folder),
            "meter": tuple(_placed(table, folder) for table in settings.meter),
            "thermometer": tuple(_placed(table, folder) for table in settings.thermometer),
        }
    )


def _simulated(table: SimulationTable | None, folder: Path) -> SimulationTable | None:
    if table is None or table.sysfs is None:
        return table
    return table.model_copy(update={"sysfs": folder / table.sysfs})


Described = TypeVar("Described", SupplyTable, MeterTable, ChannelTable)


def _placed(table: Described, folder: Path) -> Described:
    """The table with its description's file, if it is one, in the settings' folder."""
    where = description_at(table.description, folder)
    if where == table.description:
        return table
    return table.model_copy(update={"description": where})
