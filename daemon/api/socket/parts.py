"""What is said over the control socket of parts."""

from typing import Literal

from pydantic import Field, JsonValue

from daemon.api.socket.message import PersonsAct


class PartRequest(PersonsAct):
    """Keep a part, in place of what was kept by its name: its area, dm², ± u95_dm2 with 95 %.

    made_from: its mesh file or shape in words. volume_cm3: of its matter. settings: what was said
    of it. picture: a PNG file in Base64. sha256: of its mesh file.
    """

    ask: Literal["keep part"] = "keep part"
    name: str = Field(min_length=1, max_length=100, pattern=r"^\S(.*\S)?$")
    made_from: str = Field(min_length=1, max_length=500)
    area_dm2: float = Field(gt=0, le=1e6, allow_inf_nan=False)
    u95_dm2: float = Field(ge=0, le=1e6, allow_inf_nan=False)
    volume_cm3: float | None = Field(default=None, gt=0, allow_inf_nan=False)
    settings: dict[str, JsonValue] = Field(default_factory=dict, max_length=50)
    picture: str | None = Field(default=None, max_length=160_000)
    sha256: str | None = Field(default=None, pattern="^[0-9a-f]{64}$")
