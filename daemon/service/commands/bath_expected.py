"""`tankhand bath expected`: what is in the bath, as far as its account tells."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from daemon.service.commands.command import settings_option

if TYPE_CHECKING:
    from daemon.bath.anodes import AnodesLeft
    from daemon.bath.expected import Component, Expected
    from daemon.bath.suggested import Suggestion
    from daemon.service.commands.bath_reading import Foresight

NOTHING_TELLS = (
    "nothing tells what is in the bath: enter its make-up, or an analysis, and its volume in the "
    "settings"
)

DAY_MS = 86_400_000


@click.command()
@click.option("--on", metavar="DAY", help="As it stood at the end of this day, such as 2026-11-20.")
@settings_option
def expected(on: str | None, settings: Path) -> None:
    """Show what is expected in the bath, each ± with 95 %, and when to analyse it again.

    From the make-up and the last analyses, charge, additions, drag-out, evaporation. An estimate:
    it takes the place of no analysis.
    """
    from daemon.api.bath_texts import day_end
    from daemon.clock import to_ms
    from daemon.service.commands import bath_reading
    from daemon.service.commands.bath_entering import errors
    from daemon.service.settings import read_settings

    with errors():
        on_utc_ms = None if on is None else to_ms(day_end("--on", on))
        found = bath_reading.read_expected(read_settings(settings), on_utc_ms)
    click.echo("\n".join(_lines(found)))


def _lines(found: Foresight) -> Iterator[str]:
    from daemon.api.bath_words import stamp
    from daemon.bath.suggested import suggested

    yield f"bath       {found.book.description.name}, {stamp(found.book.utc_ms)}"
    if found.expected is None:
        yield NOTHING_TELLS
    else:
        yield from _contents(found.expected, found.book.utc_ms)
        for each in suggested(found.expected):
            yield f"suggested  {_suggestion(each)}; analyse first, for this is an estimate"
    yield from _anodes(found.anodes)


def _contents(found: Expected, now_ms: int) -> Iterator[str]:
    from daemon.api.bath_words import stamp
    from daemon.bath.components import CHLORIDE

    yield f"volume     {found.volume_l:.1f} ± {found.volume_half_width_l:.1f} L"
    for each in found.components:
        yield f"{each.name:<10} {_component(each)}"
    days = found.analyse_in_days
    if days is not None:
        names = ", ".join(each.name for each in found.components if each.analyse_in_days == days)
        when = "now" if days == 0 else f"by {stamp(round(now_ms + days * DAY_MS))[:10]}"
        yield f"analyse    again {when}: {names}"
    if found.filled_utc_ms is not None:
        yield (
            f"note       no water was entered: taken as filled up on "
            f"{stamp(found.filled_utc_ms)[:10]}; say which level you see with `bath water --level`"
        )
    for told in found.unlikely:
        finding, scale = told.finding, 1e3 if told.finding.component == CHLORIDE else 1.0
        yield (
            f"unlikely   {finding.component} {finding.found.value * scale:.4g} in entry "
            f"{told.entry}, {stamp(told.utc_ms)}: {finding.expected.value * scale:.4g} was "
            "expected; repeat the analysis"
        )


def _component(each: Component) -> str:
    from daemon.bath.components import COPPER
    from daemon.chemistry.substances import PENTAHYDRATE

    said = f"{each.value:.3g} ± {each.half_width:.2g} {each.unit}"
    if each.name == COPPER:
        said += f" (as CuSO4·5H2O {each.value / PENTAHYDRATE.copper_share:.3g} g/L)"
    window = each.window
    if window is None or (window.least is None and window.greatest is None):
        return said
    if window.greatest is None:
        return f"{said}; at least {window.least:.3g}"
    if window.least is None:
        return f"{said}; at most {window.greatest:.3g}"
    return f"{said}; window {window.least:.3g} to {window.greatest:.3g}"


def _suggestion(each: Suggestion) -> str:
    from daemon.bath.components import COPPER
    from daemon.chemistry.substances import PENTAHYDRATE

    if each.addition is not None:
        amount_g = each.addition.amount
        said = f"{each.component}: add {amount_g:.3g} g"
        if each.component == COPPER:
            said += f", as CuSO4·5H2O {amount_g / PENTAHYDRATE.copper_share:.3g} g"
        return said
    if each.dilution is None:
        return each.component
    return f"{each.component}: replace {each.dilution.take_out_l:.2g} L of bath by water"


def _anodes(found: AnodesLeft) -> Iterator[str]:
    if found.mass_g is not None and found.half_width_g is not None:
        worn = "; less than the settings allow, hang new ones" if found.worn else ""
        yield f"anodes     {found.mass_g:.0f} ± {found.half_width_g:.0f} g left{worn}"
    if found.greatest_a is not None:
        yield f"anodes     bear {found.greatest_a:.3g} A on {found.area_dm2:.3g} dm²"
