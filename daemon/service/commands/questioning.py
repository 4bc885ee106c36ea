"""What a form leaves open is asked for at a terminal, and is an error elsewhere."""

from __future__ import annotations

import sys
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    from daemon.api.report import Report

Done = TypeVar("Done")


def answered(
    tree: dict[str, Any], work: Callable[[dict[str, Any]], Done]
) -> tuple[Done, dict[str, Any]]:
    """What `work` makes of the form, and the form with all that was asked for meanwhile.

    Raises UnansweredError where nobody is there to be asked, after showing what is known.
    """
    from daemon.api.unanswered import UnansweredError

    while True:
        try:
            return work(tree), tree
        except UnansweredError as error:
            if error.report is not None:
                show(error.report)
            if not at_a_terminal():
                raise
            question = error.question
            click.echo(f"{error.where}: {question.text}")
            choices = click.Choice(question.choices)
            tree = tree | {question.about: click.prompt(f"--{question.about}", type=choices)}


def at_a_terminal() -> bool:
    """Whether somebody can be asked."""
    return sys.stdin.isatty()


def show(report: Report) -> None:
    """Print a report."""
    from daemon.service.commands.printed import printed

    click.echo(printed(report))
