"""Plans that are kept: TOML files in a folder beside the record, which a person may write as well.

The daemon alone writes them, see `daemon.service.keeping.plans`; the page and it read them here.
"""

import hashlib
import json
import re
import unicodedata
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from pydantic import BaseModel, ConfigDict, ValidationError

from daemon.api.errors import InputError
from daemon.api.explain import read_toml
from daemon.api.plans.file import PlanFile
from daemon.api.socket.plans import PLAN_LIMIT

SUFFIX = ".toml"

LONGEST_NAME = 60
"""Characters of a plan's name; its file's name then stays below what file systems take."""

MOST = 300
"""Plans that are listed. A folder with more is not one of plans."""

_NAME = re.compile(r"[^\W_](?:[\w .,()+-]*[\w)+])?")
_OTHER = re.compile(r"[^\w.,()+-]+")


def plans_at(record: Path) -> Path:
    """The folder in which the plans of the tank with this record are kept."""
    return record.with_name("plans")


def rehearsals_at(folder: Path) -> Path:
    """The file in which it stands how the plans that are kept were rehearsed last."""
    return folder / ".rehearsals.json"


def plan_name(text: str) -> str:
    """A plan's name as it becomes a file's. Raises ValueError for what no file here is called."""
    name = unicodedata.normalize("NFC", text.strip())
    if len(name) > LONGEST_NAME or not _NAME.fullmatch(name):
        raise ValueError(
            f"must be 1 to {LONGEST_NAME} letters, digits, spaces and . , ( ) + - _, the first a "
            f"letter or digit, got {text[: LONGEST_NAME + 1]!r}"
        )
    return name


def named(text: str) -> str:
    """The same for a name that was asked for. Raises InputError, with what is allowed."""
    try:
        return plan_name(text)
    except ValueError as error:
        raise InputError("name", (str(error),)) from error


def name_of(title: str) -> str:
    """A name for a plan of this title: what a name cannot have becomes a dash."""
    name = _OTHER.sub("-", unicodedata.normalize("NFC", title)).strip("-_ .,(+")[:LONGEST_NAME]
    name = name.rstrip("-_ .,(")
    return name if _NAME.fullmatch(name) else "plan"


@dataclass(frozen=True)
class KeptPlan:
    """A plan's file. fault: why its text is not to be had; then `text` is empty."""

    name: str
    path: Path
    text: str
    sha256: str
    fault: str | None = None

    @cached_property
    def read(self) -> PlanFile | InputError:
        """The plan, or what is wrong with it."""
        if self.fault is not None:
            return InputError(self.path.name, (self.fault,))
        try:
            return read_toml(self.text, self.path.name, PlanFile)
        except InputError as error:
            return error


def kept_plans(folder: Path) -> list[KeptPlan]:
    """All that are kept, by name; none where there is no folder. Raises OSError."""
    try:
        paths = [
            path
            for path in folder.iterdir()
            if path.suffix == SUFFIX and not path.name.startswith(".") and path.is_file()
        ]
    except FileNotFoundError:
        return []
    return [_read(path) for path in sorted(paths, key=lambda each: each.stem.casefold())[:MOST]]


def kept_plan(folder: Path, name: str) -> KeptPlan | None:
    """The plan of this name; None where there is none, whatever the name. Raises OSError."""
    try:
        path = folder / f"{plan_name(name)}{SUFFIX}"
    except ValueError:
        return None
    return _read(path) if path.is_file() else None


def _read(path: Path) -> KeptPlan:
    name = path.name.removesuffix(SUFFIX)
    try:
        with path.open("rb") as file:
            data = file.read(4 * PLAN_LIMIT + 1)
        text, fault = data.decode(), None
    except UnicodeDecodeError as error:
        data, text, fault = b"", "", f"is no UTF-8 text: {error.reason} at byte {error.start}"
    except OSError as error:
        data, text, fault = b"", "", f"cannot be read: {error.strerror or error}"
    if len(text) > PLAN_LIMIT:
        text, fault = "", f"is longer than {PLAN_LIMIT} characters"
    if not _is_name(name):
        text, fault = "", "its name has what no plan's has here; give the file another one"
    return KeptPlan(name, path, text, hashlib.sha256(data).hexdigest(), fault)


def _is_name(name: str) -> bool:
    try:
        return plan_name(name) == name
    except ValueError:
        return False


class Rehearsed(BaseModel):
    """How a plan was rehearsed last: of which text, when, and whether it would have worked."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    sha256: str
    utc_ms: int
    works: bool


def rehearsals(folder: Path) -> dict[str, Rehearsed]:
    """How the plans that are kept were rehearsed last, by name; what cannot be read is left out."""
    try:
        found = json.loads(rehearsals_at(folder).read_bytes())
        return {name: Rehearsed.model_validate(each) for name, each in dict(found).items()}
    except (OSError, ValueError, ValidationError):
        return {}
