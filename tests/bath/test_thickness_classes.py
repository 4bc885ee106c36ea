"""Thickness classes: what a mean has to be for its thinnest place to do."""

import pytest

from daemon.api.errors import InputError
from daemon.api.figures.classes import listing
from daemon.bath.thickness_classes import STANDARDS, mean_um
from daemon.units import parse


def test_the_thinnest_place_has_what_the_class_asks_for():
    # 25 µm at a place that gets 60 % of the mean: 41.67 µm.
    assert mean_um(25.0, 0.6) == pytest.approx(41.6667, rel=1e-5)
    assert mean_um(25.0, 1.0) == 25.0


def test_each_class_has_a_line_for_a_plan():
    text = "\n".join(row.text for row in listing("70 %").rows)
    lines = [
        line.split("target = ")[1].strip('"') for line in text.splitlines() if "target" in line
    ]
    classes = [each for standard in STANDARDS for each in standard.classes]
    assert len(lines) == len(classes)
    for line, each in zip(lines, classes, strict=True):
        assert each.least_um <= 0.7 * parse(line, "µm") < each.least_um + 0.01


def test_all_of_it_is_marked_as_to_be_checked():
    assert any("checked against the standard" in text for text in listing(None).warnings)
    assert any("target is the mean" in text for text in listing(None).warnings)


def test_a_mil_is_a_mil():
    # Class 1 is one thousandth of an inch.
    (army,) = [standard for standard in STANDARDS if standard.name.startswith("MIL")]
    assert army.classes[1].least_um == pytest.approx(parse("1 mil", "µm"))


@pytest.mark.parametrize("thinnest", ["0 %", "101 %", "-5 %", "much", "0.1 %"])
def test_a_share_that_cannot_be_is_refused(thinnest):
    with pytest.raises(InputError, match="thinnest"):
        listing(thinnest)
