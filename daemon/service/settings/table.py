"""What every table of the settings file has in common."""

from pydantic import BaseModel, ConfigDict


class Table(BaseModel):
    """A table of the settings file: unknown keys are refused."""

    model_config = ConfigDict(extra="forbid", frozen=True)
