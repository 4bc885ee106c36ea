"""`tankhand analyse` and `analyses`: a titration worked out, what the bath wants, what is kept.

Heavy imports wait until a command runs, since the command line is loaded by `serve` too.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from click.core import ParameterSource

from daemon.service.commands.bath_entering import read, send
from daemon.service.commands.command import BadInputError, errors, settings_option

if TYPE_CHECKING:
    from daemon.api.analyses.titration import Titrated
    from daemon.bath.book import Book

_COMPONENTS = {"copper": "copper", "acid": "sulfuric acid", "chloride": "chloride"}
_TITRANTS = {
    "edta": "EDTA",
    "thiosulfate": "thiosulfate",
    "hydroxide": "hydroxide",
    "silver_nitrate": "silver nitrate",
    "titrant": "other",
}
_TITRATION = (
    "factor", "sample", "diluted_to", "aliquot", "blank", "burette_limit", "sample_limit",
    "flask_limit", "aliquot_limit", "titrant_limit", "end_point",
)  # fmt: skip
_RESTORING = ("volume", "volume_limit", "least", "target", "greatest", "purity", "acid", "also")

_Command = Callable[..., None]


def _options(*rows: tuple[str, str], many: bool = False) -> Callable[[_Command], _Command]:
    """Options that take a text, each with its help, in this order."""

    def decorate(command: _Command) -> _Command:
        for name, help_text in reversed(rows):
            command = click.option(name, help=help_text, multiple=many)(command)
        return command

    return decorate


_titrants = _options(
    ("--edta", 'Copper by EDTA of this strength: "0.1 mol/L".'),
    ("--thiosulfate", "Copper by iodide and thiosulfate."),
    ("--hydroxide", "Free sulfuric acid by sodium hydroxide."),
    ("--silver-nitrate", "Chloride by silver nitrate."),
    ("--titrant", 'Anything else, by what each mL stands for: "0.355 mg/mL".'),
)
_titration = _options(
    ("--factor", "How many times as strong the titrant is, such as 0.995. 1 if left out."),
    ("--sample", 'How much bath was taken: "5 mL".'),
    ("--diluted-to", 'What it was made up to: "100 mL".'),
    ("--aliquot", 'How much of that was titrated: "20 mL".'),
)
_limits = _options(
    ("--burette-limit", 'How far the burette may be off: "0.02 mL".'),
    ("--sample-limit", 'How far the sample may be off: "0.015 mL" or "0.3 %".'),
    ("--flask-limit", "The same of the flask."),
    ("--aliquot-limit", "The same of the aliquot."),
    ("--titrant-limit", 'How far the titrant\'s strength may be off: "0.2 %".'),
    ("--end-point", 'How far one titration may stop from its end point: "0.05 mL".'),
)
_restoring = _options(
    ("--volume", "The bath's volume; by its account if left out."),
    ("--volume-limit", 'How far that may be off. "5 %" if left out.'),
    ("--least", 'The window: "50 g/L", or "200 g/L CuSO4·5H2O"; by the settings if left out.'),
    ("--target", "The same."),
    ("--greatest", "The same."),
    ("--purity", 'Of the crystals that are added: "99 %".'),
    ("--acid", 'How strong the acid is that is added: "96 %", "SG 1.28", "473 g/L".'),
)


@click.command()
@click.argument("component", type=click.Choice([*_COMPONENTS]))
@click.argument("readings", nargs=-1, metavar="READING...")
@_titrants
@_titration
@click.option("--blank", multiple=True, help="What a blank takes; several are averaged.")
@_limits
@_restoring
@click.option(
    "--also", multiple=True, metavar="NAME=CONCENTRATION",
    help='What else the bath holds, for a dilution: "sulfuric acid=60 g/L".',
)  # fmt: skip
@click.option("--keep", is_flag=True, help="Keep the result in the bath's account.")
@click.option("--at", metavar="TIME", help="When the sample was taken; now, if left out.")
@click.option("--note", default="", help="What else there is to say of it.")
@settings_option
@click.pass_context
def analyse(context: click.Context, /, component: str, settings: Path, **options: Any) -> None:
    """Work out a titration of copper, acid or chloride, and what it takes to put the bath right.

    Each READING is what one titration took, such as 7.62, or where the burette stood before and
    after, such as 0.13-7.75; in mL. What is said of no limit is taken from common practice.

    Wear eye protection and gloves. Acid, hydroxide, iodide and silver wastes are kept apart, and
    none goes down a drain; the safety data sheets come first.
    """
    from daemon.api.analyses.analysis import found
    from daemon.api.analyses.kept_analyses import completed, leading
    from daemon.api.analyses.restoring import read_restoring, restored
    from daemon.api.analyses.titration import read_titration, titrated
    from daemon.service.commands.printed import printed

    with errors():
        if options["at"] and not options["keep"]:
            raise BadInputError("--at: says when a kept analysis was taken; give --keep with it")
        tree = _titration_tree(_COMPONENTS[component], options)
        done = titrated(read_titration(tree))
        wanted = read_restoring(_restoring_tree(options), done.form.component)
        chosen = context.get_parameter_source("settings") is not ParameterSource.DEFAULT
        if chosen or options["keep"] or settings.exists():
            wanted = completed(wanted, _book(settings))
        report = found(done) + restored(wanted, done.analysis.concentration)
        click.echo(printed(report))
        if options["keep"]:
            _keep(settings, done, tree, options)
            click.echo(printed(leading(read(settings), done.form.component)))


def _keep(settings: Path, done: Titrated, tree: dict[str, Any], options: dict[str, Any]) -> None:
    from daemon.api.analyses.analysis import entry_facts
    from daemon.api.bath.bath_texts import Written, moment

    at = options["at"]
    send(
        settings,
        kind="analysis",
        written=Written({}, entry_facts(done, tree)),
        at_utc=None if at is None else moment("--at", at),
        note=options["note"],
    )


def _titration_tree(component: str, options: dict[str, Any]) -> dict[str, Any]:
    """The options as the form has them, without what was left out."""
    given = [name for name in _TITRANTS if options[name] is not None]
    if len(given) != 1:
        known = ", ".join("--" + name.replace("_", "-") for name in _TITRANTS)
        raise BadInputError(f"one titrant is wanted, of {known}; got {len(given)}")
    (titrant,) = given
    return {
        "component": component,
        "titrant": _TITRANTS[titrant],
        "strength": options[titrant],
        "readings": options["readings"],
        **_given(options, _TITRATION),
    }


def _restoring_tree(options: dict[str, Any]) -> dict[str, Any]:
    tree = _given(options, _RESTORING)
    if "also" in tree:
        pairs = [text.partition("=") for text in tree["also"]]
        wrong = [name for name, equals, concentration in pairs if not (equals and concentration)]
        if wrong:
            raise BadInputError(
                f'--also: expected a name and a concentration such as "sulfuric acid=60 g/L", '
                f"got {wrong[0]!r}"
            )
        tree["also"] = {name.strip(): concentration.strip() for name, _, concentration in pairs}
    return tree


def _given(options: dict[str, Any], names: tuple[str, ...]) -> dict[str, Any]:
    found = {name.replace("_", "-"): options[name] for name in names}
    return {name: value for name, value in found.items() if value not in (None, ())}


def _book(settings: Path) -> Book:
    """The bath of the settings; by its description alone where there is no record yet."""
    from daemon.bath.book import Book
    from daemon.record.errors import RecordMissingError
    from daemon.service.settings.file import read_settings

    try:
        return read(settings)
    except RecordMissingError:
        return Book(0, read_settings(settings).bath.description(), (), 0.0, {})


@click.command()
@click.argument("component", type=click.Choice([*_COMPONENTS]), required=False)
@click.option(
    "--against", type=click.Choice(["time", "charge"]), default="time", show_default=True,
    help="Over what the trends run.",
)  # fmt: skip
@settings_option
def analyses(component: str | None, against: str, settings: Path) -> None:
    """List the analyses in the bath's account, newest first, and where they lead.

    A trend is the line through the analyses since the component was last changed by hand.
    """
    from daemon.api.analyses.kept_analyses import listing
    from daemon.bath.analyses import Against
    from daemon.service.commands.printed import printed

    with errors():
        name = _COMPONENTS[component] if component else None
        report = listing(read(settings), name, Against(against))
    click.echo(printed(report) or "no analysis is in the account")
