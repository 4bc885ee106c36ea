"""A plan's file, as text."""

from pathlib import Path

from daemon.api.messages import PLAN_LIMIT
from daemon.service.commands.command import BadInputError


def read_plan_text(plan: Path) -> str:
    """The file's text. Raises `BadInputError`: it cannot be read, or is no plan's by its length."""
    try:
        text = plan.read_text(encoding="utf-8")
    except OSError as error:
        raise BadInputError(f"{plan}: cannot be read: {error.strerror or error}") from error
    except UnicodeDecodeError as error:
        raise BadInputError(f"{plan}: is not UTF-8 text: {error}") from error
    if len(text) > PLAN_LIMIT:
        raise BadInputError(f"{plan}: {len(text)} characters, a plan has at most {PLAN_LIMIT}")
    return text
