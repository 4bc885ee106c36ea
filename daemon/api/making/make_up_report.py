"""What a recipe, a mixture or a topping-up comes to, as data: the page and the command show it.

Figures are texts in metric and US trade units. Words and order of the steps are common practice,
except where a source is named.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from daemon.api.making.amounts import both_volumes, content, figure
from daemon.api.making.chemicals import Chemicals
from daemon.api.making.lines import Line, lines_of, prices_of
from daemon.api.making.mixed import MixedFile
from daemon.api.making.recipe import PresentTable, RecipeFile
from daemon.api.making.steps import GENERAL_CAUTIONS, Step, of_make_up, of_top_up
from daemon.api.report import Row
from daemon.chemistry.acid_density import WATER_20_C_G_CM3
from daemon.chemistry.bath_limits import CHLORIDE, Formulation, Verdict, judged
from daemon.chemistry.make_up import Amounts, Composition, Mixed, Sources, make_up, scaled
from daemon.chemistry.solubility import crystallises_below_c
from daemon.chemistry.solution_density import bath_g_l
from daemon.chemistry.top_up import SLACK, TopUp

DENSITY_SOURCE = "Laliberté & Cooper 2004"

SAME_VOLUME = 0.01
"""A told volume and one by density that differ by less than the density's own ± 1 % agree."""


@dataclass(frozen=True, slots=True)
class MakeUpReport:
    """The whole: rows, then lines under their heading, then warnings, then steps in order.

    `cost` is the sum of the lines' costs with its currency, "" where no price was told.
    """

    title: str
    rows: tuple[Row, ...]
    heading: str = ""
    lines: tuple[Line, ...] = ()
    cost: str = ""
    warnings: tuple[str, ...] = ()
    steps: tuple[Step, ...] = ()
    cautions: tuple[str, ...] = GENERAL_CAUTIONS


def made_up(recipe: RecipeFile) -> MakeUpReport:
    """What to weigh and pour for a recipe, and in which order."""
    bath, sources, amounts = recipe.composition(), recipe.sources(), recipe.amounts()
    formulation = _formulation(recipe, bath)
    lines, cost = lines_of(amounts, sources, prices_of(recipe))
    volume_row = Row("volume", both_volumes(1000 * recipe.volume) + _room(recipe))
    return MakeUpReport(
        title=recipe.title or "Make-up",
        rows=(volume_row, *_bath_rows(bath, formulation)),
        heading="weigh and pour",
        lines=lines,
        cost=cost,
        warnings=(
            *_window_warnings(bath, formulation),
            *_storage_warnings(bath, recipe),
            *_rough_water(amounts),
        ),
        steps=of_make_up(recipe, amounts),
    )


def mixed(mixture: MixedFile, scale_to_l: float | None = None) -> MakeUpReport:
    """What is in a bath that was mixed; with `scale_to_l`, L, also its recipe for that volume."""
    found, amounts, sources = mixture.found(), mixture.amounts(), mixture.sources()
    bath = found.composition
    formulation = _formulation(mixture, bath)
    heading = "weighed and poured"
    if scale_to_l is not None:
        amounts = scaled(amounts, scale_to_l / found.volume_l)
        heading = f"the same for {both_volumes(1000 * scale_to_l)}"
    lines, _ = lines_of(amounts, sources, {})
    told = "" if mixture.volume is not None else ", by its density"
    return MakeUpReport(
        title=mixture.title or "Mixed bath",
        rows=(
            Row("volume", both_volumes(1000 * found.volume_l) + told),
            *_bath_rows(bath, formulation),
        ),
        heading=heading,
        lines=lines,
        warnings=(
            *_window_warnings(bath, formulation),
            *_volume_warnings(mixture, found, sources),
        ),
        steps=(),
    )


def topped_up(recipe: RecipeFile, present: PresentTable) -> MakeUpReport:
    """What brings a bath that is there to a recipe. Raises ValueError where nothing does."""
    plan = recipe.topped_up(present)
    sources = recipe.sources()
    lines, cost = lines_of(plan.added, sources, prices_of(recipe))
    there, target = present.composition(), recipe.composition()
    return MakeUpReport(
        title=recipe.title or "Top up",
        rows=(
            Row(
                "volume",
                f"{both_volumes(1000 * present.volume)} now, {both_volumes(1000 * recipe.volume)}"
                " wanted",
            ),
            *_from_to(there, target),
        ),
        heading="add" if lines else "",
        lines=lines,
        cost=cost,
        warnings=(*_top_up_warnings(plan, present, recipe), *_rough_water(plan.added)),
        steps=of_top_up(recipe, plan),
    )


def _formulation(told: Chemicals, bath: Composition) -> Formulation | None:
    """What it is held against; a bath without copper is held against nothing."""
    return told.formulation if bath.copper_g_l else None


def _bath_rows(bath: Composition, formulation: Formulation | None) -> Iterator[Row]:
    found = () if formulation is None else judged(bath, formulation)
    verdicts = {verdict.window.component: verdict for verdict in found}
    if bath.copper_sulfate_g_l is not None:
        text = f"{content(bath.copper_sulfate_g_l)} as CuSO4·5H2O"
        copper = f"; copper {figure(bath.copper_g_l or 0.0)} g/L"
        yield Row("copper sulfate", text + copper + _verdict(verdicts.get("copper sulfate")))
    if bath.acid_g_l is not None:
        yield Row("sulfuric acid", content(bath.acid_g_l) + _verdict(verdicts.get("sulfuric acid")))
    if bath.chloride_mg_l is not None:
        text = f"{figure(bath.chloride_mg_l)} mg/L (ppm)"
        yield Row("chloride", text + _verdict(verdicts.get(CHLORIDE)))
    for name, ml_l in bath.additives_ml_l:
        yield Row(name, f"{figure(ml_l)} mL/L ({figure(128 * ml_l / 1000, 3)} fl oz/gal)")
    for name, g_l in bath.others_g_l:
        yield Row(name, content(g_l))
    if formulation is not None and verdicts:
        yield Row("windows", f"{formulation.name}, {formulation.source}")
    if bath.water_g_l is not None and (bath.copper_g_l or bath.acid_g_l):
        g_l = bath_g_l(bath.dry_copper_sulfate_g_l, bath.acid_g_l or 0.0)
        yield Row("density", f"{g_l / 1000:.3f} g/cm³ at 20 °C, ± 1 % ({DENSITY_SOURCE})")


def _verdict(verdict: Verdict | None) -> str:
    if verdict is None:
        return ""
    window = verdict.window
    how = "within" if verdict.inside else "below" if verdict.below else "above"
    return f"; {how} {window.least:g} to {window.greatest:g} {_unit(window.component)}"


def _unit(component: str) -> str:
    return "mg/L" if component == CHLORIDE else "g/L"


def _window_warnings(bath: Composition, formulation: Formulation | None) -> Iterator[str]:
    if formulation is None:
        return
    for verdict in judged(bath, formulation):
        if verdict.inside:
            continue
        window = verdict.window
        unit = _unit(window.component)
        wanted = (
            f"the {window.least:g} to {window.greatest:g} {unit} of a {formulation.name}"
            f" ({formulation.source})"
        )
        if verdict.value is None:
            yield f"No {window.component} is told; a bath wants {wanted}."
        else:
            side = "below" if verdict.below else "above"
            yield (
                f"{window.component.capitalize()} of {figure(verdict.value)} {unit} is {side}"
                f" {wanted}."
            )


def _storage_warnings(bath: Composition, recipe: RecipeFile) -> Iterator[str]:
    if not bath.copper_g_l or bath.water_g_l is None:
        return
    below_c = crystallises_below_c(bath.dry_copper_sulfate_g_l, bath.acid_g_l or 0.0)
    if below_c is None or (
        recipe.storage is not None and recipe.storage.lowest_temperature >= below_c
    ):
        return
    if recipe.storage is not None:
        yield (
            f"At {recipe.storage.lowest_temperature:g} °C crystals may drop out of it:"
            f" {_crystals(below_c)} Keep it warmer, or make it thinner."
        )
    else:
        yield f"In the cold crystals may drop out of it: {_crystals(below_c)}"


def _crystals(below_c: float) -> str:
    return (
        f"below about {below_c:.0f} °C by a careful estimate, from the solubility in water (CRC"
        " Handbook) with all of the acid counted as sulfate; in practice some degrees later."
    )


def _rough_water(amounts: Amounts) -> Iterator[str]:
    if amounts.water_g is None:
        yield "The density of this bath is not known: fill up to the mark."


def _room(recipe: RecipeFile) -> str:
    if recipe.container is None:
        return ""
    container = recipe.container.of()
    why = "" if container.told else ", four fifths of its brim (common practice)"
    return f"; the container takes {both_volumes(1000 * container.room_l)}{why}"


def _volume_warnings(mixture: MixedFile, found: Mixed, sources: Sources) -> Iterator[str]:
    """Where volume and water were both told, and do not fit each other."""
    by_density_l = found.by_density_l
    if mixture.volume is None or mixture.poured.water is None or by_density_l is None:
        return
    if abs(by_density_l / found.volume_l - 1) <= SAME_VOLUME:
        return
    poured_g = mixture.poured.water.grams(WATER_20_C_G_CM3)
    needed_g = make_up(found.composition, found.volume_l, sources).water_g or 0.0
    less = 100 * (1 - needed_g / poured_g)
    much, room = ("less", "which take room too") if less > 0 else ("more", "and it is not full")
    yield (
        f"What was poured comes to {both_volumes(1000 * by_density_l)} by its density, and"
        f" {both_volumes(1000 * found.volume_l)} was told. That volume takes"
        f" {_water(needed_g)} of water beside salt and acid, {room}: {abs(less):.0f} % {much} than"
        f" the {_water(poured_g)} poured."
    )


def _water(grams: float) -> str:
    return both_volumes(grams / WATER_20_C_G_CM3)


def _from_to(there: Composition, target: Composition) -> Iterator[Row]:
    pairs = (
        ("copper sulfate", there.copper_sulfate_g_l, target.copper_sulfate_g_l, "g/L"),
        ("sulfuric acid", there.acid_g_l, target.acid_g_l, "g/L"),
        ("chloride", there.chloride_mg_l, target.chloride_mg_l, "mg/L"),
    )
    for name, now, wanted, unit in pairs:
        if now is None and wanted is None:
            continue
        is_now = "not known" if now is None else f"{figure(now)} {unit}"
        shall = "not told" if wanted is None else f"{figure(wanted)} {unit}"
        yield Row(name, f"{is_now} now, {shall} wanted")


def _top_up_warnings(plan: TopUp, present: PresentTable, recipe: RecipeFile) -> Iterator[str]:
    if plan.thinned:
        yield (
            f"There is too much {' and '.join(plan.thinned)}: that can only be thinned, by taking"
            " bath out"
            + (
                f", or by filling up to {both_volumes(1000 * plan.without_taking_out_l)} instead"
                if plan.without_taking_out_l is not None
                else ""
            )
            + f". Up to {100 * SLACK:g} % above the target is left as it is."
        )
    elif plan.taken_out_l and present.volume <= recipe.volume:
        yield (
            "What has to be added brings more than there is room for"
            + (
                f", unless it is filled up to {both_volumes(1000 * plan.without_taking_out_l)}"
                if plan.without_taking_out_l is not None
                else ""
            )
            + "."
        )
    for name in plan.unknown:
        yield f"How much {name} is in it is not known, and counts as on target: analyse it."
