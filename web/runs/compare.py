"""Two runs beside each other: figures with their differences, and curves over one another."""

from collections.abc import Callable
from dataclasses import dataclass

from flask import Flask, render_template, request
from flask.typing import ResponseReturnValue

from daemon.api.runs.report import RunReport
from daemon.api.sentence import duration
from daemon.chemistry.uncertainty import Budget
from daemon.record.errors import NoSuchRunError, RecordError
from daemon.record.series import Bands
from web.drawings.run_chart import of_two
from web.language import gettext as _
from web.listing import unreadable
from web.record import Runs, record_number
from web.runs import words
from web.runs.listed import end_of
from web.runs.report import no_such_run
from web.times import stamp, zone_name
from web.trouble import show


@dataclass(frozen=True, slots=True)
class Compared:
    """A figure of both runs, and how much more the second has; "" where it is the same."""

    name: str
    first: str
    second: str
    difference: str


class ComparePage:
    """The view, over one record."""

    def __init__(self, runs: Runs) -> None:
        self._runs = runs

    def route(self, app: Flask) -> None:
        """Give the view its address."""
        app.add_url_rule("/runs/compare", "compare", self.page)

    def page(self) -> ResponseReturnValue:
        """Compare the two runs that the query names by `run`; ask for them where it does not."""
        given = [text.strip() for text in request.args.getlist("run") if text.strip()]
        numbers = [record_number(text) for text in given]
        wrong = _wrong(given, numbers)
        known = [number for number in numbers if number is not None]
        if wrong or len(known) != 2:
            return self._shown(given, wrong, None), 422 if wrong else 200
        try:
            pair = self._runs.report(known[0]), self._runs.report(known[1])
        except NoSuchRunError:
            return self._missing(known)
        except RecordError as error:
            return unreadable(error)
        return self._shown(given, "", pair)

    def _missing(self, numbers: list[int]) -> ResponseReturnValue:
        for number in numbers:
            try:
                self._runs.title(number)
            except NoSuchRunError:
                break
        return show(no_such_run(number), 404)

    def _shown(self, given: list[str], wrong: str, pair: tuple[RunReport, RunReport] | None) -> str:
        return render_template(
            "compare.html",
            given=[*given, "", ""][:2],
            wrong=wrong,
            pair=None if pair is None else [each.run for each in pair],
            rows=() if pair is None else compared(*pair),
            chart=None if pair is None else of_two(*pair),
            zone=zone_name(),
        )


def compared(first: RunReport, second: RunReport) -> tuple[Compared, ...]:
    """The figures of both, in the order of the report."""
    pair = first, second

    def worded(name: str, of: Callable[[RunReport], str]) -> Compared:
        one, other = map(of, pair)
        return Compared(name, one, other, "" if one == other else _("differs"))

    def number(
        name: str, of: Callable[[RunReport], float | None], unit: str, digits: int
    ) -> Compared:
        one, other = map(of, pair)
        texts = ["–" if v is None else f"{v:z.{digits}f} {unit}" for v in (one, other)]
        return Compared(name, texts[0], texts[1], _difference(one, other, unit, digits))

    def sure(
        name: str, of: Callable[[RunReport], Budget | None], unit: str, digits: int
    ) -> Compared:
        one, other = (words.sure(of(each), unit, digits, known=each.deposit.sure) for each in pair)
        values = [None if (budget := of(each)) is None else budget.value for each in pair]
        return Compared(name, one, other, _difference(values[0], values[1], unit, digits))

    return (
        Compared(_("part"), first.run.title, second.run.title, ""),
        Compared(_("started"), _started(first), _started(second), ""),
        worded(_("ended"), lambda each: end_of(each.run)),
        sure(_("thickness"), lambda each: each.deposit.thickness_um, "µm", 2),
        number(_("target"), lambda each: each.run.target_um, "µm", 2),
        sure(_("charge"), lambda each: each.deposit.charge, "Ah", 4),
        sure(_("mass"), lambda each: each.deposit.mass_g, "g", 4),
        _time(_("plated"), *(each.run.running_s for each in pair)),
        number(_("area"), lambda each: each.run.area_dm2, "dm²", 3),
        number(
            _("density in the mean"),
            lambda each: words.mean_density(each.run, each.run.running_s),
            "A/dm²",
            2,
        ),
        number(_("voltage in the mean"), lambda each: _mean(each, each.series.voltage_v), "V", 3),
        number(_("bath in the mean"), lambda each: _mean(each, each.series.temperature_c), "°C", 1),
        number(_("energy of the cell"), lambda each: 1000 * each.energy.cell_kwh, "Wh", 1),
        worded(_("alarms"), words.alarms),
        worded(_("bath"), lambda each: each.run.bath),
        worded(_("counted by"), lambda each: each.run.counted_by.meter),
        worded(_("plan"), lambda each: _plan(each, first)),
    )


def _wrong(given: list[str], numbers: list[int | None]) -> str:
    """Why the runs that were named cannot be compared; "" where they can, or few are named."""
    if None in numbers:
        return _("A run is named by its number, such as 12.")
    if len(given) > 2:
        return _("Two runs are compared at a time.")
    if len(given) == 2 and numbers[0] == numbers[1]:
        return _("That is the same run twice.")
    return ""


def _difference(one: float | None, other: float | None, unit: str, digits: int) -> str:
    if one is None or other is None:
        return ""
    if round(other - one, digits) == 0:
        return ""
    share = f" ({100 * (other / one - 1):+z.1f} %)" if one > 0 else ""
    return f"{other - one:+z.{digits}f} {unit}{share}".replace("-", "\N{MINUS SIGN}")


def _time(name: str, one: float | None, other: float | None) -> Compared:
    texts = ["–" if v is None else duration(v) for v in (one, other)]
    difference = ""
    if one is not None and other is not None:
        more = other - one
        sign = "+" if more > 0 else "\N{MINUS SIGN}"
        difference = f"{sign}{duration(abs(more))}" if round(more) else ""
    return Compared(name, texts[0], texts[1], difference)


def _started(found: RunReport) -> str:
    return stamp(found.run.started_utc_ms)[:16]


def _mean(found: RunReport, bands: Bands) -> float | None:
    """The mean over a run's points, by how long each is; None where nothing was read."""
    seen, total, weight = found.series, 0.0, 0.0
    before_s = 0.0
    for last_s, value in zip(seen.last_s, bands.mean, strict=True):
        if value is not None:
            total += value * (last_s - before_s)
            weight += last_s - before_s
        before_s = last_s
    return total / weight if weight > 0 else None


def _plan(found: RunReport, first: RunReport) -> str:
    if found is first:
        return _("as written")
    return _("as written") if found.run.plan == first.run.plan else _("another")
