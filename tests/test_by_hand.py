"""The make-up that is worked by hand in daemon/bath/README.md: each sum, and what is printed."""

import ast
import math
import operator
import re
import shlex
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner

from daemon.service.commands.cli import main

BY_HAND = (Path(__file__).parent.parent / "daemon/bath/README.md").read_text(encoding="utf-8")
FENCED = re.compile(r"^```(\w*)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
SHOWN_RUNS = [
    text.removeprefix("$ tankhand ").partition("\n")
    for language, text in FENCED.findall(BY_HAND)
    if language == "text" and text.startswith("$ tankhand ")
]
SUMS = [
    line
    for language, text in FENCED.findall(BY_HAND)
    if language == "sums"
    for line in text.splitlines()
]


@pytest.mark.parametrize(("words", "_", "shown"), SHOWN_RUNS)
def test_what_a_make_up_is_shown_to_print_is_printed(words: str, _: str, shown: str) -> None:
    result = CliRunner().invoke(main, shlex.split(words))
    assert result.exit_code == 0, result.stderr
    assert result.stdout == shown


_OPERATORS: dict[type[ast.operator], Callable[[float, float], float]] = {
    ast.Add: operator.add,
    ast.Sub: operator.sub,
    ast.Mult: operator.mul,
    ast.Div: operator.truediv,
    ast.Pow: operator.pow,
}


def _worked(node: ast.expr) -> float:
    """A sum of plain numbers, worked out; exp() is the one function it may have."""
    match node:
        case ast.Constant(value=int() | float() as value):
            return value
        case ast.BinOp(left, operation, right):
            return _OPERATORS[type(operation)](_worked(left), _worked(right))
        case ast.Call(func=ast.Name(id="exp"), args=[argument]):
            return math.exp(_worked(argument))
    raise AssertionError(ast.dump(node))


@pytest.mark.parametrize("line", SUMS)
def test_each_sum_by_hand_comes_out_as_it_is_shown(line: str) -> None:
    found = re.fullmatch(r"(\S.*?)\s{2,}(\S.*\S) += (\S+)", line)
    assert found is not None
    last_digit = 10.0 ** -len(found[3].partition(".")[2])
    value = _worked(ast.parse(found[2], mode="eval").body)
    assert value == pytest.approx(float(found[3]), abs=0.5001 * last_digit, rel=0)


@pytest.mark.parametrize(
    ("name", "printed"),
    [
        ("crystals, g", "2000 g"),
        ("copper, g/L", "copper 50.9 g/L"),
        ("acid of 96 %, g", "625 g"),
        ("the same, mL", "340.5 mL"),
        ("sodium chloride, g", "0.9891 g"),
        ("mass of a litre, g", "1.160 g/cm³"),
        ("water to pour, g", "8973 g"),
        ("the same, L", "8.989 L"),
        ("of it first, L", "5.843 L"),
        ("the rest, L", "3.146 L"),
        ("is saturated at, °C", "Below 19 °C so much water"),
        ("rise, °C", "up to 15 °C"),
        ("saturated at, °C", "below about 12 °C"),
    ],
)
def test_what_is_worked_by_hand_is_what_the_command_prints(name: str, printed: str) -> None:
    """To the last digit that the command shows; a temperature to be careful with is rounded up."""
    result = next(line for line in SUMS if re.match(rf"{re.escape(name)}\s{{2,}}", line))
    by_hand = float(result.rpartition("=")[2])
    (figure,) = re.findall(r"[0-9]+\.?[0-9]*", printed.replace("cm³", ""))
    assert printed in " ".join(SHOWN_RUNS[0][2].split())
    scale = 1000.0 if name == "mass of a litre, g" else 1.0
    careful = name in ("is saturated at, °C", "rise, °C")
    last_digit = scale * 10.0 ** -len(figure.partition(".")[2])
    assert scale * float(figure) == pytest.approx(
        by_hand, abs=(1.0 if careful else 0.5001) * last_digit
    )
    assert not careful or float(figure) >= by_hand
