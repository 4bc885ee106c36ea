"""`tankhand makeup`, `mixed` and `top-up`: what a bath is made from. Only --keep needs a daemon.

Heavy imports wait until a command runs, since the command line is loaded by `serve` too.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from daemon.service.commands.command import BadInputError, errors, settings_option
from daemon.service.commands.file_text import read_text

if TYPE_CHECKING:
    from daemon.api.bath.bath_texts import Written
    from daemon.api.making.make_up_report import MakeUpReport
    from daemon.api.socket.messages import EntryKind

RECIPE_LIMIT = 50_000
"""Characters of a recipe's file."""

_Command = Callable[..., None]

_recipe_or_options = click.argument(
    "recipe", type=click.Path(path_type=Path), required=False, metavar="[RECIPE.toml]"
)


def _option(name: str, metavar: str, text: str) -> Callable[[_Command], _Command]:
    return click.option(f"--{name}", metavar=metavar, help=text)


_strength = _option("acid-strength", "STRENGTH", '"96 %", "SG 1.280", "18 mol/L", "battery acid"')
_hydrate = _option("hydrate", "FORMULA", '"CuSO4·5H2O" if left out.')
_purity = _option("purity", "SHARE", 'Of the crystals. "100 %" if left out.')


def _keeping(command: _Command) -> _Command:
    """The options that put it into the bath's account."""
    for option in (
        settings_option,
        click.option("--note", default="", help="What else there is to say of it; with --keep."),
        click.option("--at", metavar="TIME", help="When it was made; now, if left out."),
        click.option("--keep", is_flag=True, help="Enter it into the bath's account: it is made."),
    ):
        command = option(command)
    return command


# Which key of a file each option stands for.
_CHEMICALS = {
    "volume": "volume",
    "acid_strength": "acid.strength",
    "hydrate": "crystals.hydrate",
    "purity": "crystals.purity",
}
_MAKEUP = {
    **_CHEMICALS,
    "copper_sulfate": "target.copper_sulfate",
    "acid": "target.sulfuric_acid",
    "chloride": "target.chloride",
    "container": "container.brim",
    "storage": "storage.lowest_temperature",
}
_MIXED = {
    **_CHEMICALS,
    "water": "poured.water",
    "copper_sulfate": "poured.copper_sulfate",
    "acid": "poured.acid",
    "chloride": "poured.chloride",
}
_PRESENT = {
    "volume": "volume",
    "copper_sulfate": "copper_sulfate",
    "copper": "copper",
    "acid": "sulfuric_acid",
    "chloride": "chloride",
}


@click.command()
@_recipe_or_options
@_option("volume", "VOLUME", 'Of the bath, such as "10 L"; also to scale a recipe.')
@_option("copper-sulfate", "CONTENT", '"200 g/L", as CuSO4·5H2O.')
@_option("acid", "CONTENT", '"60 g/L", as H2SO4.')
@_strength
@_option("chloride", "CONTENT", '"60 mg/L" or "60 ppm".')
@_hydrate
@_purity
@_option("container", "VOLUME", "Of the container up to its brim.")
@_option("storage", "TEMPERATURE", "The coldest that it gets.")
@_keeping
def makeup(
    recipe: Path | None,
    keep: bool,
    at: str | None,
    note: str,
    settings: Path,
    **options: str | None,
) -> None:
    """Say what to weigh and pour for a bath, and in which order.

    The bath is that of the file RECIPE.toml, or that of the options; --volume goes with both.
    Concentrations and amounts may be in trade units: "26 oz/gal", "4 gal", "42.4 fl oz".

    With --keep it is in the tank: the account of the bath in the settings begins anew with it.
    """
    from daemon.api.making.entry import of_recipe
    from daemon.api.making.make_up_report import made_up
    from daemon.api.making.recipe import in_volume, read_recipe, recipe_of

    _check_keeping(keep, at)
    given = _given(options)
    with _told(_MAKEUP):
        if recipe is None:
            tree = _tree(given, _MAKEUP)
            bath = recipe_of(tree, _OPTIONS)
        else:
            volume = given.pop("volume", None)
            _refuse(given, "; only --volume does")
            text = _read(recipe)
            bath, tree = read_recipe(text, str(recipe)), _as_written(text)
            if volume is not None:
                bath, tree = in_volume(bath, volume, "--volume"), {**tree, "volume": volume}
        _show(made_up(bath))
        if keep:
            _keep(settings, lambda known: of_recipe(bath, tree, known), at, note)


@click.command()
@_recipe_or_options
@_option("volume", "VOLUME", "To which it was filled up. By its density if left out.")
@_option("water", "AMOUNT", 'Such as "9 L".')
@_option("copper-sulfate", "MASS", 'Crystals, such as "2 kg".')
@_option("acid", "AMOUNT", 'As it came, such as "340 mL" or "625 g".')
@_strength
@_option("chloride", "MASS", 'Sodium chloride, such as "1 g".')
@_hydrate
@_purity
@click.option("--for", "other", metavar="VOLUME", help="Give the amounts for this volume instead.")
@_keeping
def mixed(
    recipe: Path | None,
    other: str | None,
    keep: bool,
    at: str | None,
    note: str,
    settings: Path,
    **options: str | None,
) -> None:
    """Say what is in a bath that was weighed and poured like this.

    What went in is told by the file RECIPE.toml or by the options.

    With --keep it is in the tank: the account of the bath in the settings begins anew with it.
    """
    from daemon.api.making import make_up_report
    from daemon.api.making.entry import of_mixture
    from daemon.api.making.mixed import mixed_of, read_mixed

    _check_keeping(keep, at)
    if keep and other is not None:
        raise BadInputError("--for: is another bath than the one that was mixed; no --keep with it")
    given = _given(options)
    with _told(_MIXED):
        if recipe is None:
            tree = _tree(given, _MIXED)
            mixture = mixed_of(tree, _OPTIONS)
        else:
            _refuse(given)
            text = _read(recipe)
            mixture, tree = read_mixed(text, str(recipe)), _as_written(text)
        _show(make_up_report.mixed(mixture, _volume_l("for", other)))
        if keep:
            _keep(settings, lambda known: of_mixture(mixture, tree, known), at, note)


@click.command("top-up")
@click.argument("recipe", type=click.Path(path_type=Path), metavar="RECIPE.toml")
@_option("volume", "VOLUME", 'Of the bath that is there, such as "9.2 L".')
@_option("copper-sulfate", "CONTENT", "What an analysis found, as CuSO4·5H2O.")
@_option("copper", "CONTENT", "The same as copper, instead.")
@_option("acid", "CONTENT", "What an analysis found, as H2SO4.")
@_option("chloride", "CONTENT", "What an analysis found.")
@click.option("--to", "wanted", metavar="VOLUME", help="Other than the recipe's volume.")
@_keeping
def top_up(
    recipe: Path,
    wanted: str | None,
    keep: bool,
    at: str | None,
    note: str,
    settings: Path,
    **options: str | None,
) -> None:
    """Say what brings a bath that is there to the one in RECIPE.toml.

    What is left out of its analysis is not known, and counts as on target.

    With --keep it is done: all of it is one entry of the account of the bath in the settings.
    """
    from daemon.api.making.entry import of_top_up
    from daemon.api.making.make_up_report import topped_up
    from daemon.api.making.recipe import in_volume, present_of, read_recipe

    _check_keeping(keep, at)
    with _told(_PRESENT):
        text = _read(recipe)
        aim, tree = read_recipe(text, str(recipe)), _as_written(text)
        if wanted is not None:
            aim, tree = in_volume(aim, wanted, "--to"), {**tree, "volume": wanted}
        there = _tree(_given(options), _PRESENT)
        present = present_of(there, _OPTIONS)
        try:
            report = topped_up(aim, present)
        except ValueError as error:
            raise BadInputError(f"{recipe}: {error}") from error
        _show(report)
        if keep:
            told = {**tree, "present": there}
            _keep(settings, lambda known: of_top_up(aim, present, told, known), at, note, "top-up")


_OPTIONS = "options"


def _check_keeping(keep: bool, at: str | None) -> None:
    if at is not None and not keep:
        raise BadInputError("--at: says when what is kept was made; give --keep with it")


def _as_written(text: str) -> dict[str, Any]:
    """The tables of a file that was read before."""
    return tomllib.loads(text.removeprefix("\ufeff"))


def _keep(
    settings: Path,
    write: Callable[[tuple[str, ...]], Written],
    at: str | None,
    note: str,
    kind: EntryKind = "make-up",
) -> None:
    """Have the daemon enter what `write` makes of the bath's additives."""
    from daemon.api.bath.bath_texts import moment
    from daemon.service.commands.bath_entering import send
    from daemon.service.settings.file import read_settings

    with errors():
        known = read_settings(settings).bath.description().additive_names
        at_utc = None if at is None else moment("--at", at)
        send(settings, kind=kind, written=write(known), at_utc=at_utc, note=note)


def _given(options: dict[str, str | None]) -> dict[str, str]:
    return {name: text for name, text in options.items() if text is not None}


def _refuse(given: dict[str, str], but: str = "") -> None:
    """Nothing that the file tells may be told by an option too."""
    if given:
        raise BadInputError(
            f"{', '.join(map(_named, given))}: goes with no RECIPE.toml, which tells it{but}"
        )


def _named(option: str) -> str:
    return f"--{option.replace('_', '-')}"


def _tree(given: dict[str, str], key_of: dict[str, str]) -> dict[str, Any]:
    """The options as the tables of a file."""
    tree: dict[str, Any] = {}
    for option, text in given.items():
        *tables, name = key_of[option].split(".")
        table = tree
        for each in tables:
            table = table.setdefault(each, {})
        table[name] = text
    return tree


def _volume_l(option: str, text: str | None) -> float | None:
    from daemon.api.quantities import positive

    if text is None:
        return None
    try:
        return positive(text, "L")
    except ValueError as error:
        raise BadInputError(f"--{option}: {error}") from error


def _read(path: Path) -> str:
    return read_text(path, "a recipe", RECIPE_LIMIT)


@contextmanager
def _told(key_of: dict[str, str]) -> Iterator[None]:
    """What cannot be used, by the option that told it or by the file's key."""
    from daemon.api.errors import InputError

    try:
        yield
    except InputError as error:
        if error.where == _OPTIONS:
            said = [_by_option(problem, key_of) for problem in error.problems]
        elif error.where.startswith("--"):
            said = [f"{error.where}: {x.removeprefix('volume: ')}" for x in error.problems]
        else:
            said = [str(error)]
        raise BadInputError("\n".join(said)) from error


def _by_option(problem: str, key_of: dict[str, str]) -> str:
    """A problem with the option in place of the key, or of the table that an option makes."""
    options = {key: _named(option) for option, key in key_of.items()}
    options |= {"acid": "--acid-strength", "crystals": "--hydrate"}
    for key, option in sorted(options.items(), key=lambda each: -len(each[0])):
        if problem.startswith((f"{key}:", f"{key} ")):
            return option + problem.removeprefix(key)
    return problem


def _show(report: MakeUpReport) -> None:
    from daemon.service.commands.makeup_report import text

    click.echo(text(report))
