"""`tankhand hardware`: what a plating current wants of supply, shunt, fuse and wire."""

from typing import Any

import click

from daemon.service.commands.command import errors


@click.command()
@click.option("--area", help='Of the parts: "1.8 dm²".')
@click.option("--current-density", help='At which they are plated: "2.5 A/dm²", "20 ASF".')
@click.option("--current", help='Instead of both, the current itself: "4.5 A".')
@click.option("--length", help='From supply to tank, one way: "1.5 m", "5 ft".')
@click.option("--voltage-ceiling", help='The plan\'s. "6 V" if left out.')
@click.option("--drop", help='What the wire may lose there and back. "300 mV" if left out.')
def hardware(**options: Any) -> None:
    """Tell the sizes of supply, shunt, fuse and wire for a plating current, with their reasons.

    Take the greatest area and current density that will ever be plated.
    """
    from daemon.api.figures.circuit_sizes import circuit_sizes
    from daemon.service.commands.printed import printed

    with errors():
        tree = {
            name.replace("_", "-"): value for name, value in options.items() if value is not None
        }
        click.echo(printed(circuit_sizes(tree)))
