"""`tankhand hull`, `filtration` and `drag-out`: figures that need no bath and no daemon."""

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import click

from daemon.service.commands.command import errors

if TYPE_CHECKING:
    from daemon.api.report import Report


@click.command()
@click.option("--current", help='The current through the panel: "2 A".')
@click.option(
    "--cell", type=click.Choice(["267 mL", "1000 mL"]), default="267 mL", show_default=True
)
@click.option("--at", multiple=True, metavar="PLACE", help='The density there: "2 in", "5 cm".')
@click.option("--density", multiple=True, help='Where this one is: "3 A/dm²", "20 ASF".')
@click.option("--bright", nargs=2, metavar="FROM TO", help='What the range is: "1.2 cm" "6 cm".')
def hull(**options: Any) -> None:
    """Tell current densities on the panel of a Hull cell, in A/dm² and A/ft².

    PLACE is the distance from the end of high density. Without --at, --density or --bright the
    whole panel is shown.
    """
    from daemon.api.figures.hull import hull as answered

    _answer(answered, options)


@click.command()
@click.option("--volume", help='The bath\'s: "15 L".')
@click.option("--flow", help='What the pump moves: "60 L/h", "20 gal/h".')
@click.option("--for", metavar="TIME", help='What it takes out in "1 h".')
@click.option("--share", help='How long it takes for "97 %".')
def filtration(**options: Any) -> None:
    """Tell how often a pump turns the bath over, and how much of its dirt a filter takes out."""
    from daemon.api.figures.bath_figures import filtration as answered

    _answer(answered, options)


@click.command("drag-out")
@click.option("--area", help='Of the parts: "1.8 dm²".')
@click.option("--rate", help='"100 mL/m²", "2 gal/1000 ft²"; 100 mL/m² if left out.')
@click.option("--added", help='Tracer that was added between two analyses: "100 g".')
@click.option("--start", help='What the first of them found: "58 g/L".')
@click.option("--end", help="What the last of them found.")
@click.option("--volume", help="The bath's.")
@click.option("--limit", help='How far each analysis may be off. "2 %" if left out.')
def drag_out(**options: Any) -> None:
    """Tell how much bath parts carry away: by their area, or by a tracer.

    A tracer is what neither plates nor evaporates: in acid copper the sulfuric acid. Without any
    option, usual figures are shown.
    """
    from daemon.api.figures.bath_figures import drag_out as answered

    _answer(answered, options)


def _answer(answered: "Callable[[object], Report]", options: dict[str, Any]) -> None:
    from daemon.service.commands.printed import printed

    with errors():
        tree = {name: value for name, value in options.items() if value not in (None, ())}
        click.echo(printed(answered(tree)))
