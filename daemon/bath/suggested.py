"""What brings a bath back that is expected to be outside its window, never beyond it. Pure."""

from dataclasses import dataclass

from daemon.bath.components import CHLORIDE
from daemon.bath.expected import Component, Expected
from daemon.chemistry.restoring import Addition, Dilution, Found, Source, Window, addition, dilution

PURE = Source(1.0)
"""1 g of the component itself, which takes no room in the bath worth speaking of."""


@dataclass(frozen=True, slots=True)
class Suggestion:
    """What to add of a component, g, or how much bath to replace by water, L; one of both."""

    component: str
    addition: Addition | None
    dilution: Dilution | None


def suggested(found: Expected) -> tuple[Suggestion, ...]:
    """What to do about each component that is expected outside its window.

    Nothing for additives, which are dosed by charge, and nothing where the band is so wide that
    whatever is done might lead out of the window at its other end: then an analysis comes first.
    """
    suggestions = []
    for each in found.components:
        window = _window(each)
        if window is None:
            continue
        scale = _scale(each)
        expected = Found(each.value / scale, each.half_width / scale)
        added = addition(expected, window, found.volume_l, PURE)
        thinned = dilution(expected, window, found.volume_l)
        if added is not None or thinned is not None:
            suggestions.append(Suggestion(each.name, added, thinned))
    return tuple(suggestions)


def _scale(component: Component) -> float:
    return 1e3 if component.name == CHLORIDE else 1.0


def _window(component: Component) -> Window | None:
    """The component's window in g/L; None without one, and for additives."""
    told = component.window
    if told is None or component.unit == "mL/L":
        return None
    limits = (told.least, told.target, told.greatest)
    scale = _scale(component)
    return Window(*(None if limit is None else limit / scale for limit in limits))
