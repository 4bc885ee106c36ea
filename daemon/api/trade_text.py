"""Texts of ours with their figures in the units of the US trade. Pure.

What the daemon says, works out and keeps is written in one way: a number, a space and the sign of a
metric unit. So a finished text is put into the trade's units as a whole, as one is put into
another language: once, where it is shown. What people typed is never given to this.
"""

import re

from daemon.api.rounding import fixed, rounded
from daemon.api.trade_units import METRIC_UNITS, decimals, shown

_S = "[ \N{NO-BREAK SPACE}]"
_N = r"[+\-−]?[0-9]+(?:\.[0-9]+)?(?:e[+\-]?[0-9]+)?"
_LINK = rf"{_S}(?:±|to|of|–){_S}|–|(?:(?<=\.[0-9])|(?<=\.[0-9]{{2}})),{_S}"
_NUMBERS = rf"{_N}(?:(?:{_LINK}){_N})*"
_NO_MORE = r"(?![\w/·²³^])"
_UNITS = "|".join(METRIC_UNITS)

_BOTH = re.compile(
    rf"(?<![\w.,]){_NUMBERS}{_S}(?:{_UNITS}|mL|mL/L){_NO_MORE}"
    rf"{_S}\(({_NUMBERS}{_S}(?:lb|oz|fl{_S}oz|gal|in|(?:fl{_S})?oz/gal|A/ft²|ft²|in²|°F))\)"
)
"""A figure with its trade figure in brackets: `2000 g (4.41 lb)`."""

_FIGURES = re.compile(
    rf"(?<![\w.,])(?P<between>between{_S})?"
    rf"(?P<numbers>{_NUMBERS}(?(between){_S}and{_S}{_N}))"
    rf"{_S}(?P<unit>{_UNITS}){_NO_MORE}"
    rf"(?P<of>(?:{_S}\(95{_S}%\))?{_S}of{_S})?(?(of)(?P<whole>{_N}){_S}(?P=unit){_NO_MORE}|)"
)
_STANDARD = re.compile(
    rf"(?<![\w.,])(?P<value>{_N}){_S}\(u{_S}(?P<u>{_N})\){_S}(?P<unit>{_UNITS}){_NO_MORE}"
)
"""A figure with its standard uncertainty: `48.2 (u 0.35) g/L`."""

_QUOTED = re.compile('("[^"]*"|“[^”]*”)')
"""What somebody typed, and what somebody might type."""

_PIECES = re.compile(rf"({_N})((?:{_LINK}|{_S}and{_S})?)")

_ONE_OF_SEVERAL = re.compile(rf"[0-9](?:,{_S}|{_S}(?:and|or|by|x|×){_S}|/){_S}?$")
"""What comes before a figure whose unit is another number's too. Then all stay as they are."""

_DIFFERENCE = re.compile(rf"(?:\bby(?:{_S}(?:up{_S}to|about))?|±){_S}$")
"""What comes before a difference of two temperatures."""

_FINEST = 9


def in_trade(text: str) -> str:
    """Give a text of ours with its metric figures in the trade's units.

    A figure keeps about the places that it had, and one with its doubt those that the doubt leaves;
    what is short of a whole, as in "24.9 of 25 µm", never reads as there. Of a figure that has its
    trade figure in brackets that one is left. Dimensions as in "60 x 40 x 20 mm" stay, and
    whatever stands in quotation marks.
    """
    return "".join(
        part if part.startswith(('"', "“")) else _converted(part) for part in _QUOTED.split(text)
    )


def _converted(text: str) -> str:
    for found, told in ((_BOTH, _the_other), (_STANDARD, _standard), (_FIGURES, _told)):
        text = found.sub(told, text)
    return text


def _the_other(match: re.Match[str]) -> str:
    return match[1].replace("A/ft²", "ASF")


def _standard(match: re.Match[str]) -> str:
    value, u = _value(match["value"]), _value(match["u"])
    if not u > 0:
        return match[0]
    texts = _sure(value, u, match["unit"])
    return f"{texts[0]} (u {texts[1]}) {shown(value, match['unit'], 'trade').unit}"


def _told(match: re.Match[str]) -> str:
    before = match.string[max(0, match.start() - 12) : match.start()]
    if _ONE_OF_SEVERAL.search(before):
        return match[0]
    pieces = _PIECES.findall(match["numbers"])
    unit = match["unit"]
    if unit == "°C" and (_DIFFERENCE.search(before) or pieces[0][0][0] in "+−"):
        unit = "K"
    texts, its_sign = _chain([number for number, _link in pieces], pieces[0][1].strip(), unit)
    links = [link for _number, link in pieces]
    said = "".join(text + link for text, link in zip(texts, links, strict=True))
    said = f"{match['between'] or ''}{said} {its_sign}"
    if match["whole"] is not None:
        part, whole = _value(pieces[0][0]), _value(match["whole"])
        said += f"{match['of']}{_whole(whole, part, texts[0], unit)} {its_sign}"
    return said


def _chain(numbers: list[str], link: str, unit: str) -> tuple[list[str], str]:
    """Numbers of one unit, all to the same place, and its sign; `link` is between the first two."""
    values = [_value(number) for number in numbers]
    large = max(values, key=abs)
    its_sign = shown(large, unit, "trade").unit
    if link == "±" and values[1] > 0:
        texts = list(_sure(values[0], values[1], unit))
        places = _places(texts[1])
        first = 2
    else:
        texts, first = [], 0
        places = max(
            decimals(value, unit, _places(number))
            for value, number in zip(values, numbers, strict=True)
        )
    there = [_in_the_unit_of(large, value, unit) for value in values]
    for place in range(first, len(values)):
        below = None
        if link == "of" and place == 0 and values[0] < values[1]:
            below = round(there[1], places)
        texts.append(_signed(numbers[place], fixed(there[place], places, below)))
    return texts, its_sign


def _sure(value: float, doubt: float, unit: str) -> tuple[str, str]:
    """A value and its doubt: of a temperature that is a difference."""
    half = _in_the_unit_of(value, doubt, "K" if unit == "°C" else unit)
    return rounded(_in_the_unit_of(value, value, unit), half, _FINEST)


def _in_the_unit_of(large: float, value: float, unit: str) -> float:
    """`value` in the trade's unit in which `large` is shown."""
    if unit == "dm²" and large:
        return value * shown(large, unit, "trade").value / large
    return shown(value, unit, "trade").value


def _whole(whole: float, part: float, part_text: str, unit: str) -> str:
    """The whole that a part is of: to so many places that what is short of it reads so."""
    there = _in_the_unit_of(part, whole, unit)
    places = decimals(whole, unit, _places(f"{whole:g}"))
    while part < whole and round(there, places) <= float(part_text) and places < _FINEST:
        places += 1
    return fixed(there, places)


def _value(number: str) -> float:
    return float(number.replace("−", "-"))


def _places(number: str) -> int:
    """The decimals of a number as it stands; below 0 where its exponent takes them away."""
    mantissa, _e, exponent = number.partition("e")
    return len(mantissa.partition(".")[2]) - int(exponent or 0)


def _signed(number: str, text: str) -> str:
    """The text with the kind of sign that the number had."""
    if number[0] == "+" and not text.startswith("-"):
        return f"+{text}"
    return text.replace("-", "−") if number[0] == "−" else text
