"""The settings of messages to people: `[[tell]]`, an address each, and `[telling]`."""

import re
from collections.abc import Sequence
from datetime import time
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, SecretStr, StrictBool, StrictInt, model_validator

from daemon.api.quantities import DurationS
from daemon.control.protection.causes import Priority
from daemon.service.settings.table import Table
from daemon.service.telling.recipients import Hours, Pace, Recipient, Rules

LEAST_REPEAT_S = 60.0
"""s. More often than this a phone that rings is one that is switched off (common practice)."""

LONGEST_TIMEOUT_S = 60.0
"""s. Whoever has not answered by then does not answer."""

MOST_AN_HOUR = 120
"""Messages. Services begin to refuse at about that (common practice)."""

_TIME = re.compile(r"([01]\d|2[0-3]):([0-5]\d)")
_ADDRESS = re.compile(r"[A-Za-z][A-Za-z0-9+.-]*://\S.*")


def _time(value: object) -> time:
    found = _TIME.fullmatch(value) if isinstance(value, str) else None
    if found is None:
        raise ValueError(f'expected a time of day such as "07:00", got {value!r}')
    return time(int(found[1]), int(found[2]))


def _address(value: object) -> SecretStr:
    """An address is a secret, also a wrong one: no error shows it."""
    if isinstance(value, SecretStr):
        return value
    if not isinstance(value, str) or _ADDRESS.fullmatch(value) is None:
        raise ValueError('expected an address such as "json://192.168.1.20:8000/tank"')
    return SecretStr(value)


TimeOfDay = Annotated[time, BeforeValidator(_time)]
Address = Annotated[SecretStr, BeforeValidator(_address)]


class QuietTable(Table):
    """Quiet hours, by the clock on the wall."""

    start: TimeOfDay = Field(alias="from", description="local time", examples=['"22:00"'])
    end: TimeOfDay = Field(alias="to", description="local time", examples=['"07:00"'])

    @model_validator(mode="after")
    def _some_time(self) -> "QuietTable":
        if self.start == self.end:
            raise ValueError(f"from and to must differ, both are {self.start:%H:%M}")
        return self


class TellTable(Table):
    """Somebody who is told."""

    name: Annotated[str, Field(min_length=1, max_length=40)] = Field(
        description="what people call it", examples=['"phone"']
    )
    address: Address = Field(
        description="any address of Apprise, a secret", examples=['"json://192.168.1.20:8000/tank"']
    )
    least: Literal["high", "medium", "low"] = Field(
        default="low", description="the lowest priority that is told"
    )
    after: DurationS | None = Field(
        default=None,
        description="told only if nobody has acknowledged for so long",
        examples=['"15 min"'],
    )
    quiet: QuietTable | None = Field(
        default=None,
        description="when only high priority is told",
        examples=['{ from = "22:00", to = "07:00" }'],
    )
    runs: StrictBool | None = Field(
        default=None, description="told of the ends of runs, and of the night in the morning"
    )

    def recipient(self) -> Recipient:
        """As the rules see it: without the address."""
        return Recipient(
            name=self.name,
            least=Priority(self.least),
            after_s=self.after or 0.0,
            quiet=None if self.quiet is None else Hours(self.quiet.start, self.quiet.end),
            # Whoever is asked for help only when nobody comes need not hear that all went well.
            runs=self.after is None if self.runs is None else self.runs,
        )


class TellingTable(Table):
    """What holds for all of them."""

    repeat: DurationS = Field(default=900.0, description="of what nobody has acknowledged")
    most_an_hour: Annotated[StrictInt, Field(ge=1, le=MOST_AN_HOUR)] = Field(
        default=12, description="messages to one"
    )
    summary: TimeOfDay | None = Field(
        default=None, description="of the night, local time", examples=['"07:00"']
    )
    timeout: DurationS = Field(default=10.0, description="how long a service may take to answer")
    retry: DurationS = Field(
        default=15.0, description="after the first failure, and longer after each"
    )
    longest_retry: DurationS = Field(default=300.0, description="from one try to the next")
    failed_after: DurationS = Field(
        default=600.0, description="of failing, after which that is an alarm"
    )

    @model_validator(mode="after")
    def _in_bounds(self) -> "TellingTable":
        if self.repeat < LEAST_REPEAT_S:
            raise ValueError(f"repeat must be at least {LEAST_REPEAT_S:g} s, got {self.repeat:g} s")
        if self.timeout > LONGEST_TIMEOUT_S:
            raise ValueError(
                f"timeout must be at most {LONGEST_TIMEOUT_S:g} s, got {self.timeout:g} s"
            )
        if self.retry > self.longest_retry:
            raise ValueError(
                "retry must be at most longest_retry, got "
                f"{self.retry:g} s and {self.longest_retry:g} s"
            )
        return self

    def rules(self) -> Rules:
        """When people are told."""
        return Rules(self.repeat, self.most_an_hour, self.summary)

    def pace(self) -> Pace:
        """How patiently they are tried."""
        return Pace(self.timeout, self.retry, self.longest_retry, self.failed_after)


def tell_problem(tell: Sequence[TellTable]) -> str | None:
    """Why these cannot stand together; None if they can."""
    names = [table.name for table in tell]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        return f"names in [[tell]] must differ: {', '.join(map(repr, twice))} is there twice"
    if tell and all(table.after is not None for table in tell):
        return "one [[tell]] must be without `after`: nobody would be told at once"
    return None
