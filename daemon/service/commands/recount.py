"""`tankhand recount`: the command and its options. What it does is in `recounting`.

Heavy imports wait until the command runs, since the command line is loaded by `serve` too.
"""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from daemon.service.commands.command import BadInputError, RefusedError, settings_option, who

if TYPE_CHECKING:
    from daemon.api.calibration.log_columns import Question, Told
    from daemon.api.calibration.log_file import Content, Head, LogFile
    from daemon.service.commands.recounting import Recounted, Request

_DELIMITERS = {"tab": "\t", "space": " ", "comma": ",", "semicolon": ";"}
_DECIMALS = {"comma": ",", "point": "."}


class _Quantity(click.ParamType[float]):
    """A quantity with its unit, above 0 or from 0 on, up to `most`; as a float in the unit."""

    def __init__(self, unit: str, *, zero: bool = False, most: float | None = None) -> None:
        self.name = unit or "fraction"
        self._unit, self._most = unit, most
        self._above = None if zero else 0.0
        self._least = 0.0 if zero else None

    def convert(self, value: Any, param: Any, ctx: Any) -> float:
        from daemon.api.quantities import bounded

        if isinstance(value, float):
            return value
        try:
            return bounded(value, self._unit, above=self._above, least=self._least, most=self._most)
        except ValueError as error:
            self.fail(str(error), param, ctx)


_Command = Callable[..., None]


def _options(*options: Callable[[_Command], _Command]) -> Callable[[_Command], _Command]:
    """One decorator of many, which keeps their order in the help."""

    def decorate(command: _Command) -> _Command:
        for option in reversed(options):
            command = option(command)
        return command

    return decorate


_LIMIT = _Quantity("", zero=True, most=1)

_how_it_is_written = _options(
    click.option("--time-column", metavar="COLUMN", help="The time: a column's name or number."),
    click.option("--current-column", metavar="COLUMN", help="The current: name or number."),
    click.option("--time-unit", metavar="UNIT", help="Of a time in numbers: s, ms, min, h."),
    click.option("--time-format", metavar="FORMAT", help="Of stamps, as strptime has it."),
    click.option("--day-first/--month-first", default=None, help="In stamps like 03/04/2026."),
    click.option("--current-unit", metavar="UNIT", help="Of the current: A, mA, …"),
    click.option(
        "--current-is",
        type=click.Choice(["sample", "mean"]),
        help="Whether the current is the one at the row's time, or the mean since the row before.",
    ),
    click.option("--reverse", is_flag=True, help="The current that plates is negative in the log."),
    click.option("--delimiter", help="A character, or tab, space, comma, semicolon."),
    click.option("--decimal", type=click.Choice(["point", "comma"]), help="The decimal mark."),
)
_how_it_is_counted = _options(
    click.option(
        "--gap",
        type=_Quantity("s"),
        metavar="TIME",
        help='Rows further apart are not joined, such as "10 s". 5 usual intervals if left out.',
    ),
    click.option(
        "--bad-rows",
        type=_LIMIT,
        default=0.01,
        metavar="SHARE",
        help='Refuse a log with more rows that cannot be read. "1 %" if left out.',
    ),
    click.option("--group-by", "group_column", metavar="COLUMN", help="Count by this column too."),
    click.option("--metal", default="Cu(II)", show_default=True, help="Metal and valence."),
    click.option(
        "--area", type=_Quantity("dm²"), metavar="AREA", help='For the thickness: "2 dm²".'
    ),
    click.option(
        "--efficiency",
        type=_Quantity("", most=1),
        default=1.0,
        metavar="SHARE",
        help='Cathode efficiency. "100 %" if left out.',
    ),
)
_how_sure_it_is = _options(
    click.option("--gain-limit", type=_LIMIT, default=0.0, metavar="SHARE", help='"0.5 %"'),
    click.option(
        "--offset-limit", type=_Quantity("A", zero=True), default=0.0, metavar="CURRENT",
        help='"3 mA"',
    ),
    click.option(
        "--noise", type=_Quantity("A", zero=True), default=0.0, metavar="CURRENT",
        help="Standard deviation of one row's current.",
    ),
    click.option(
        "--resolution", type=_Quantity("A", zero=True), default=0.0, metavar="CURRENT",
        help="Smallest step of the logged current.",
    ),
    click.option("--clock-limit", type=_LIMIT, default=0.0, metavar="SHARE", help='"100 ppm"'),
    click.option("--area-limit", type=_LIMIT, default=0.0, metavar="SHARE", help='"5 %"'),
    click.option("--efficiency-limit", type=_LIMIT, default=0.0, metavar="SHARE", help='"2 %"'),
)  # fmt: skip


@click.command()
@click.argument("log", type=click.Path(path_type=Path, allow_dash=True), metavar="LOG.csv")
@_how_it_is_written
@_how_it_is_counted
@_how_sure_it_is
@click.option("--post", is_flag=True, help="Post the charge to the bath of the settings file.")
@settings_option
def recount(log: Path, settings: Path, post: bool, **options: Any) -> None:
    """Count the charge of a log that another logger made.

    LOG.csv is delimited text, also packed by gzip; - is standard input. What the file does not tell
    is asked for in a terminal; otherwise it has to be told by options.

    Whether a logged current is a sample or a mean is known by the logger's manual. A sample is the
    current at the row's time: the charge between two rows is the trapezoid between both. A mean was
    taken over the interval since the row before: the charge is the mean times the interval. To
    take one for the other shifts each change of the current by half an interval: nothing where the
    current is steady, much where it jumps between two rows that are far apart.

    Limits are those of data sheets: the true value lies anywhere within ± the limit. Gain, clock,
    area and efficiency limits are shares of the value.
    """
    from daemon.api.calibration.log_file import read_head
    from daemon.api.errors import InputError
    from daemon.service.commands import recount_report, recounting

    try:
        request = _request(options)
        with _opened(log) as (content, where):
            head = read_head(content, where, request.delimiter)
            found, told = _answered(head, request.told)
            counted = recounting.count(found, content, replace(request, told=told))
        click.echo(recount_report.text(counted))
        if post:
            _post(counted, settings)
    except InputError as error:
        raise BadInputError(str(error)) from error


def _post(counted: "Recounted", settings: Path) -> None:
    from daemon.service.commands import posting

    try:
        click.echo(posting.post(counted, settings, who()))
    except posting.NotPostedError as error:
        raise RefusedError(str(error)) from error


def _request(options: dict[str, Any]) -> "Request":
    """The options as they were given, in the shapes that counting takes."""
    from daemon.api.calibration.log_columns import Told
    from daemon.api.errors import InputError
    from daemon.chemistry.metals import metal_named
    from daemon.service.commands.recounting import Accuracy, Request

    taken = dict(options)
    told = Told(
        decimal=_DECIMALS.get(taken.pop("decimal") or ""),
        **{name: taken.pop(name) for name in Told.__dataclass_fields__ if name in taken},
    )
    delimiter = taken.pop("delimiter")
    delimiter = _DELIMITERS.get(delimiter or "", delimiter)
    if delimiter is not None and (len(delimiter) != 1 or delimiter in '"\r\n'):
        raise InputError("--delimiter", (f"must be one character, got {delimiter!r}",))
    try:
        metal = metal_named(taken["metal"])
    except ValueError as error:
        raise InputError("--metal", (str(error),)) from error
    accuracy = Accuracy(**{name: taken[name] for name in Accuracy.__dataclass_fields__})
    return Request(
        told=told,
        delimiter=delimiter,
        gap_limit_s=taken["gap"],
        bad_share=taken["bad_rows"],
        metal=metal,
        area_dm2=taken["area"],
        efficiency=taken["efficiency"],
        accuracy=accuracy,
    )


@contextmanager
def _opened(log: Path) -> Iterator[tuple["Content", str]]:
    """The file's content, and its name for messages."""
    from daemon.api.calibration.log_file import Content
    from daemon.api.errors import InputError

    where = "standard input" if str(log) == "-" else str(log)
    try:
        file = open(0, "rb", closefd=False) if str(log) == "-" else log.open("rb")  # noqa: SIM115
    except OSError as error:
        raise InputError(where, (f"cannot be read: {error.strerror or error}",)) from error
    with file:
        yield Content(file), where


def _answered(head: "Head", told: "Told") -> tuple["LogFile", "Told"]:
    """Ask at a terminal for what the log leaves open. What does not fit is told and asked again."""
    from daemon.api.calibration.log_file import UnansweredError, open_log
    from daemon.api.errors import InputError

    before: Told | None = None
    while True:
        try:
            return open_log(head, told), told
        except UnansweredError as error:
            if not sys.stdin.isatty():
                raise
            before, told = told, _asked(told, error.questions[0])
        except InputError as error:
            if before is None:
                raise
            click.echo(str(error), err=True)
            told, before = before, None


def _asked(told: "Told", question: "Question") -> "Told":
    kind = click.Choice(question.choices) if question.choices else str
    answer: str = click.prompt(question.text, type=kind, err=True)
    meanings: dict[str, dict[str, Any]] = {
        "decimal": _DECIMALS,
        "day_first": {"day": True, "month": False},
    }
    meant = meanings.get(question.field, {}).get(answer, answer)
    return replace(told, **{question.field: meant})
