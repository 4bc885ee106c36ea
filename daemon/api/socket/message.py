"""What all messages of the control socket have in common."""

from pydantic import BaseModel, ConfigDict, Field


class Message(BaseModel):
    """Base of everything on the socket: unknown fields are refused, nothing changes afterwards."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class PersonsAct(Message):
    """What a person does. `who` and `where`, from which place, are recorded."""

    who: str = Field(min_length=1, max_length=120)
    where: str = Field(default="control socket", max_length=120)
