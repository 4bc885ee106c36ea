"""The settings file: which supply on which port, which bath, where the record lies."""

import math
from dataclasses import replace
from pathlib import Path
from typing import Annotated

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, model_validator

from daemon.api.errors import InputError
from daemon.api.explain import read_toml
from daemon.api.quantities import CurrentA, DurationS, VoltageV
from daemon.clock import Clock, RatedClock, SystemClock
from daemon.control.situation import Limits
from daemon.service.first_look import description_at
from drivers.contracts import Rating
from web.listen import ListenError, parse_listen

GONE_STEPS = 3
"""Steps of the supply's current below which its output counts as off, if that is more than
`Limits.gone_a`: an idle ammeter flickers by its last digit or two (common practice)."""


LEAST_BEAT_LIMIT_S = 0.2
"""Twice the longest rest of a loop that has nothing to do, `daemon.service.runner.REST_S`."""


class Table(BaseModel):
    """A table of the settings file: unknown keys are refused."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class SupplyTable(Table):
    """The supply and its line."""

    port: str = Field(
        min_length=1,
        description="the serial port, by its lasting name, or socket://HOST:PORT",
        examples=['"/dev/serial/by-id/usb-…"'],
    )
    description: str = Field(
        default="scpi99",
        min_length=1,
        description="the supply's words: a name that ships with tankhand, or a file",
        examples=['"scpi99"'],
    )
    greatest_current: CurrentA | None = Field(
        default=None, description="less than the supply could give", examples=['"5 A"']
    )
    greatest_voltage: VoltageV | None = Field(
        default=None, description="less than the supply could give", examples=['"12 V"']
    )

    def rating(self, described: Rating) -> Rating:
        """The described rating, narrowed by what these settings allow."""
        return replace(
            described,
            current_a=min(described.current_a, self.greatest_current or math.inf),
            voltage_v=min(described.voltage_v, self.greatest_voltage or math.inf),
        )


class BathTable(Table):
    """The bath that the charge is posted to."""

    name: Annotated[str, Field(min_length=1, max_length=80)]


class RecordTable(Table):
    """Where the record lies."""

    path: Path = Field(
        default=Path("record.sqlite"), description="a file", examples=['"record.sqlite"']
    )


class LoopTable(Table):
    """The loop's times; see `daemon.control.situation.Limits`."""

    period: DurationS = 0.1
    gap: DurationS = 1.0
    lost: DurationS = 3.0
    restart: DurationS = 10.0

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

    beat_limit: DurationS = 0.5

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

    socket: Path = Path("control.sock")


def _listenable(text: str) -> str:
    try:
        parse_listen(text)
    except ListenError as error:
        raise ValueError(str(error).removeprefix("listen: ")) from error
    return text


class PageTable(Table):
    """The page: where it listens; `on = false` serves none."""

    on: bool = True
    listen: Annotated[str, AfterValidator(_listenable)] = Field(
        default="127.0.0.1:8080", description="address and port", examples=['"127.0.0.1:8080"']
    )


class SimulationTable(Table):
    """The time line of a simulated tank; without this table time is the machine's own."""

    rate: Annotated[float, Field(gt=0, le=10_000)]
    origin_s: float


class Settings(Table):
    """The whole file. Paths are relative to the file's folder."""

    supply: SupplyTable
    bath: BathTable
    record: RecordTable = RecordTable()
    loop: LoopTable = LoopTable()
    guard: GuardTable = GuardTable()
    daemon: DaemonTable = DaemonTable()
    page: PageTable = PageTable()
    simulation: SimulationTable | None = None

    def limits(self, current_step_a: float) -> Limits:
        """The limits that control works with, for a supply whose current has steps this large."""
        loop, least = self.loop, Limits()
        return Limits(
            period_s=loop.period,
            gap_s=loop.gap,
            lost_s=loop.lost,
            down_s=max(least.down_s, 2 * loop.period),
            off_s=max(least.off_s, 5 * loop.period),
            gone_a=max(least.gone_a, GONE_STEPS * current_step_a),
            restart_s=loop.restart,
            settle_s=max(least.settle_s, 2 * loop.period),
        )

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
            "record": RecordTable(path=folder / settings.record.path),
            "daemon": DaemonTable(socket=folder / settings.daemon.socket),
            "supply": settings.supply.model_copy(
                update={"description": description_at(settings.supply.description, folder)}
            ),
        }
    )
