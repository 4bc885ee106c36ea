"""Thickness classes in words, each with the line that a plan has for it."""

import math

from daemon.api.errors import InputError
from daemon.api.report import Report, Row
from daemon.bath.thickness_classes import CHECK, STANDARDS, ThicknessClass, mean_um
from daemon.units import UnitError, parse

_MEAN = (
    "a class asks for the least thickness where it counts, a plan's target is the mean: edges get "
    "more, hollows less"
)


def listing(thinnest: str | None) -> Report:
    """All classes; `thinnest` is how thick the thinnest place is, such as "70 %" of the mean.

    Raises InputError.
    """
    try:
        share = 1.0 if thinnest is None else parse(thinnest, "")
        rows = [
            row
            for standard in STANDARDS
            for row in (
                Row(standard.name, standard.about),
                *(Row("", _line(each, share)) for each in standard.classes),
            )
        ]
    except (UnitError, ValueError) as error:
        raise InputError("thinnest", (str(error),)) from error
    warnings = [f"all of it {CHECK}"]
    if thinnest is None:
        warnings.append(
            f"{_MEAN}. Measure how thick the thinnest place of such a part becomes, and say it "
            'with --thinnest, such as "60 %" of the mean; without, the targets are too low'
        )
    return Report(tuple(rows), tuple(warnings))


def _line(each: ThicknessClass, thinnest: float) -> str:
    # Rounded up: the thinnest place is not to fall short by a digit.
    target_um = math.ceil(100 * mean_um(each.least_um, thinnest) - 1e-6) / 100
    most = "" if each.greatest_um is None else f", at most {each.greatest_um:g} µm"
    note = f" ({each.note})" if each.note else ""
    least = f"at least {each.least_um:g} µm{most}{note}"
    return f'{each.name}, {least}: target = "{target_um:.6g} µm"'
