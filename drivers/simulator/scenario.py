"""A scenario: bath, parts, supply and events, from defaults or from a TOML file."""

import tomllib
from pathlib import Path

from pydantic import Field, TypeAdapter, ValidationError, model_validator

from drivers.errors import DescriptionError
from drivers.simulator.events import Event, LosePart
from drivers.simulator.parameters import (
    BathParameters,
    Parameters,
    PartParameters,
    SupplyParameters,
)


class Scenario(Parameters):
    """What the simulated tank starts with: [bath], [[parts]], [supply] and [[events]] in TOML."""

    bath: BathParameters = BathParameters()
    parts: tuple[PartParameters, ...] = Field(default=(PartParameters(),), min_length=1)
    supply: SupplyParameters = SupplyParameters()
    events: tuple[Event, ...] = ()

    @model_validator(mode="after")
    def _events_fit(self) -> "Scenario":
        for event in self.events:
            check_fits(event, len(self.parts))
        return self


_EVENT: TypeAdapter[Event] = TypeAdapter(Event)


def check_fits(event: Event, parts: int) -> None:
    """Raise ValueError when the event speaks of a part that this tank does not have."""
    if isinstance(event, LosePart) and event.part > parts:
        raise ValueError(f"lose_part: part {event.part} does not exist, allowed 1 to {parts}")


def load_scenario(path: Path) -> Scenario:
    """Read a scenario file; `DescriptionError` names file, key, value and what is allowed."""
    try:
        described = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise DescriptionError(f"{path}: cannot be read as TOML: {error}") from error
    try:
        return Scenario.model_validate(described)
    except ValidationError as error:
        raise DescriptionError(f"{path}: {_first(error)}") from error


def parse_event(described: object) -> Event:
    """An event from its described form; raises `DescriptionError`."""
    try:
        return _EVENT.validate_python(described)
    except ValidationError as error:
        raise DescriptionError(f"event: {_first(error)}") from error


def _first(error: ValidationError) -> str:
    first = error.errors(include_url=False)[0]
    where = ".".join(str(key) for key in first["loc"]) or "scenario"
    more = error.error_count() - 1
    also = f" (and {more} more)" if more else ""
    return f"{where}: got {first['input']!r}: {first['msg']}{also}"
