"""A file that somebody has written, as text."""

from pathlib import Path

from daemon.service.commands.command import BadInputError


def read_text(path: Path, what: str, most: int) -> str:
    """The text of a file of at most `most` characters, which is `what` by its name in words.

    Raises `BadInputError`: it cannot be read, or is none of these by its length.
    """
    try:
        text = path.read_text(encoding="utf-8")
    except OSError as error:
        raise BadInputError(f"{path}: cannot be read: {error.strerror or error}") from error
    except UnicodeDecodeError as error:
        raise BadInputError(f"{path}: is not UTF-8 text: {error}") from error
    if len(text) > most:
        raise BadInputError(f"{path}: {len(text)} characters, {what} has at most {most}")
    return text


def read_plan_text(plan: Path) -> str:
    """The text of a plan's file. Raises `BadInputError`."""
    from daemon.api.socket.plans import PLAN_LIMIT

    return read_text(plan, "a plan", PLAN_LIMIT)
