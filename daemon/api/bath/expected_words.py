"""What is expected in a bath and left of its anodes, in words, for page and command line."""

from collections.abc import Iterator

from daemon.api.bath.bath_words import stamp
from daemon.api.report import Row
from daemon.api.rounding import rounded
from daemon.bath.anodes import AnodesLeft
from daemon.bath.components import CHLORIDE, COPPER
from daemon.bath.expected import DAY_MS, Component, Expected
from daemon.bath.suggested import Suggestion, suggested
from daemon.chemistry.substances import PENTAHYDRATE

NOTHING_TELLS = (
    "nothing tells what is in the bath: enter its make-up, or an analysis, and its volume in the "
    "settings"
)


def contents(found: Expected, now_ms: int) -> Iterator[Row]:
    """The volume, each component, when to analyse again, and what was odd."""
    yield Row("volume", f"{found.volume_l:.1f} ± {found.volume_half_width_l:.1f} L")
    for each in found.components:
        yield Row(each.name, component(each))
    again = analyse_again(found, now_ms)
    if again:
        yield Row("analyse", again)
    yield from remarks(found)


def component(each: Component) -> str:
    """What is expected of a component, with its window."""
    said = figure(each)
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


def figure(each: Component) -> str:
    """The expected value with its 95 % band."""
    return f"{each.value:.3g} ± {each.half_width:.2g} {each.unit}"


def analyse_again(found: Expected, now_ms: int) -> str:
    """When which components want an analysis: "again by 2026-03-01: copper"; "" if none does."""
    days = found.analyse_in_days
    if days is None:
        return ""
    names = ", ".join(each.name for each in found.components if each.analyse_in_days == days)
    when = "now" if days == 0 else f"by {stamp(round(now_ms + days * DAY_MS))[:10]}"
    return f"again {when}: {names}"


def remarks(found: Expected) -> Iterator[Row]:
    """Water that nobody entered, and analyses that were not believed at once."""
    if found.filled_utc_ms is not None:
        yield Row(
            "note",
            f"no water was entered: taken as filled up on {stamp(found.filled_utc_ms)[:10]}; say "
            "which level you see with `bath water --level`",
        )
    for told in found.unlikely:
        finding, scale = told.finding, 1e3 if told.finding.component == CHLORIDE else 1.0
        yield Row(
            "unlikely",
            f"{finding.component} {finding.found.value * scale:.4g} in entry {told.entry}, "
            f"{stamp(told.utc_ms)}: {finding.expected.value * scale:.4g} was expected; repeat the "
            "analysis",
        )


def suggestions(found: Expected) -> Iterator[Row]:
    """What would bring back what is expected outside its window."""
    for each in suggested(found):
        yield Row("suggested", f"{_suggestion(each)}; analyse first, for this is an estimate")


def _suggestion(each: Suggestion) -> str:
    if each.addition is not None:
        amount_g = each.addition.amount
        said = f"{each.component}: add {amount_g:.3g} g"
        if each.component == COPPER:
            said += f", as CuSO4·5H2O {amount_g / PENTAHYDRATE.copper_share:.3g} g"
        return said
    if each.dilution is None:
        return each.component
    return f"{each.component}: replace {each.dilution.take_out_l:.2g} L of bath by water"


def anodes(found: AnodesLeft) -> Iterator[Row]:
    """The mass that is left of the anodes, and the current that they bear."""
    if found.mass_g is not None and found.half_width_g is not None:
        worn = "; less than the settings allow, hang new ones" if found.worn else ""
        mass, doubt = _grams(found.mass_g, found.half_width_g)
        yield Row("anodes", f"{mass} ± {doubt} g left{worn}")
    if found.greatest_a is not None:
        yield Row("anodes", f"bear {found.greatest_a:.3g} A on {found.area_dm2:.3g} dm²")


def _grams(mass_g: float, half_width_g: float) -> tuple[str, str]:
    """A mass and its doubt, which is never told as none: whoever weighed has read whole grams."""
    return rounded(mass_g, max(1.0, half_width_g), 0)
