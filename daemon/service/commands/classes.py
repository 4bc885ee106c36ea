"""`tankhand classes`: thickness classes of standards, and a plan's line for each."""

import click

from daemon.service.commands.command import errors


@click.command()
@click.option("--thinnest", metavar="SHARE", help='The thinnest place: "60 %" of the mean.')
def classes(thinnest: str | None) -> None:
    """List thickness classes of standards, each with the target that a plan has for it.

    They are from memory: check them against the standard in force before you promise anything.
    """
    from daemon.api.figures.classes import listing
    from daemon.service.commands.printed import printed

    with errors():
        click.echo(printed(listing(thinnest)))
