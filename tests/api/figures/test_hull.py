"""The Hull cell in words, against the Metal Finishing Guidebook."""

import pytest

from daemon.api.errors import InputError
from daemon.api.figures.hull import hull


def rows(**tree):
    return [f"{row.name}: {row.text}" for row in hull(tree).rows]


def test_a_place():
    # 2·(27.7 - 48.7·log10 2) = 26.08 A/ft², 2.807 A/dm² (Metal Finishing Guidebook 2013).
    assert rows(current="2 A", at=("2 in",))[1] == "at: 5.08 cm (2 in): 2.81 A/dm² (26.1 A/ft²)"


def test_the_panel():
    table = rows(current="1 A")[1:-1]
    assert len(table) == 8
    assert table[2] == "at: 2.54 cm (1 in): 2.98 A/dm² (27.7 A/ft²)"
    assert "18.8 A/ft²" in rows(current="1 A", cell="1000 mL")[3]


def test_what_is_not_known_of_the_larger_cell_is_said():
    assert "not known to us" in rows(current="1 A", cell="1000 mL")[-1]
    assert "not known to us" not in rows(current="1 A")[-1]


def test_a_density():
    assert rows(current="2 A", density=("26.08 ASF",))[1].endswith(": 5.08 cm (2 in)")


def test_a_bright_range():
    (said,) = rows(current="2 A", bright=("6 cm", "1.2 cm"))[1:-1]
    assert said.startswith("bright: from 1.2 cm (0.472 in) to 6 cm (2.36 in): 2.05 A/dm² (")
    assert "9.38 A/dm²" in said


@pytest.mark.parametrize(
    ("tree", "complaint"),
    [
        ({}, "current is missing: the current, such as"),
        ({"current": "2"}, "current: expected a current"),
        ({"current": "0 A"}, "current: must be above 0 A"),
        ({"current": "2 A", "at": ("4 in",)}, "got 10.16 cm (4 in)"),
        ({"current": "2 A", "at": ("0.1 in",)}, "0.25 to 3.25 in"),
        ({"current": "2 A", "at": ("2",)}, 'at[1]: expected a length such as "2 in"'),
        ({"current": "2 A", "density": ("20 A/dm²",)}, "is not among them"),
        ({"current": "2 A", "bright": ("2 cm",)}, "bright: needs two places"),
        ({"current": "2 A", "bright": ("2 cm", "2 cm")}, "got 2 cm twice"),
        ({"current": "2 A", "cell": "534 mL"}, "cell"),
    ],
)
def test_one_clear_error(tree, complaint):
    with pytest.raises(InputError) as refused:
        hull(tree)
    (problem,) = refused.value.problems
    assert complaint in problem
