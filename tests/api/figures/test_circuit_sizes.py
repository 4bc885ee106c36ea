"""Sizes of a circuit in words."""

import pytest

from daemon.api.errors import InputError
from daemon.api.figures.circuit_sizes import circuit_sizes


def said(tree):
    return [f"{row.name} {row.text}".strip() for row in circuit_sizes(tree).rows]


def test_trade_units():
    # 1 ft² at 20 ASF are 20 A; 9.290 dm² at 2.153 A/dm². Fuse 25 A; shunt 30 A.
    rows = said({"area": "1 ft²", "current-density": "20 ASF", "length": "3 ft"})
    assert rows[0] == "current 20 A: 9.29 dm² at 2.153 A/dm²"
    assert any(row.startswith("fuse 25 A") for row in rows)
    # 2.5 µV of 75 mV are 30 A/30 000.
    assert any("a count of an INA226 (2.5 µV) is 1 mA" in row for row in rows)


def test_the_current_alone():
    rows = said({"current": "4.5 A", "length": "1.5 m"})
    assert rows[0] == "current 4.5 A"
    assert "supply at least 5.62 A and 6.26 V" in rows


def test_each_figure_says_where_it_is_from():
    report = circuit_sizes({"current": "4.5 A", "length": "1.5 m"})
    text = " ".join(row.text for row in report.rows)
    for source in ("IEC 60228", "IEC 60028", "from memory, not checked", "common practice"):
        assert source in text
    assert "local code decides" in " ".join(report.cautions)


@pytest.mark.parametrize(
    ("tree", "complaint"),
    [
        ({"current": "4.5 A"}, "length is missing: one way from supply to tank, such as"),
        ({"current": "4.5 A", "length": "1.5"}, 'length: expected a length such as "1.5 m"'),
        ({"current": "4.5 V", "length": "1 m"}, "current: expected a current such as"),
        ({"current": "0 A", "length": "1 m"}, "current: must be above 0 A"),
        ({"area": "1 dm²", "length": "1 m"}, "either area and current-density are wanted, or"),
        ({"length": "1 m"}, "or current alone"),
        ({"current": "1 A", "area": "1 dm²", "length": "1 m"}, "or current alone"),
        ({"current": "500 A", "length": "1 m"}, "a shunt of at least 750 A is wanted"),
    ],
)
def test_one_clear_error(tree, complaint):
    with pytest.raises(InputError) as refused:
        circuit_sizes(tree)
    (problem,) = refused.value.problems
    assert complaint in problem
