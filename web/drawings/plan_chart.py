"""A plan's course as plain drawings: current and thickness against time, stage by stage. Pure.

Everything across is a share of the drawing's width, everything down one of its height.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from daemon.api.rounding import fixed
from daemon.api.sentence import duration
from daemon.api.socket.plans import PlanCourse, StageCourse
from web.drawings.lines import Frame, path
from web.drawings.scale import Tick, marks, scale, step_of, time_marks
from web.language import gettext as _
from web.language import marked, spoken
from web.units import as_set, converter, shown, sign

NAMED = 0.16
"""A stage that takes this share of the width has its name in the drawing, others their number."""

NUMBERED = 0.03
"""One that takes less has no room for its number either."""

LETTERS = 26
"""Letters of a name that the whole width of a phone's drawing has room for."""

ENDS = {
    "target": marked("ends at the target"),
    "charge": marked("ends by its charge"),
    "thickness": marked("ends by its thickness"),
    "duration": marked("ends by its time"),
    "nothing": marked("comes to no end"),
}


@dataclass(frozen=True, slots=True)
class Panel:
    """One quantity: path data, its scale, and the drawing in words.

    `beside` is the scale on the right, `aim` the place of the target from the top, None without.
    """

    name: str
    unit: str
    line: str
    ticks: tuple[Tick, ...]
    said: str
    beside: tuple[Tick, ...] = ()
    beside_unit: str = ""
    aim: float | None = None


@dataclass(frozen=True, slots=True)
class StageDrawn:
    """A stage: where it begins and ends across, its label in the drawing, and in words."""

    number: int
    name: str
    begins: float
    ends: float
    label: str
    current: str
    lasts: str
    ends_by: str
    figures: str


@dataclass(frozen=True, slots=True)
class Chart:
    """Both panels over the same time, and the stages."""

    panels: tuple[Panel, ...]
    stages: tuple[StageDrawn, ...]
    ticks: tuple[Tick, ...]


def drawn(course: PlanCourse) -> Chart | None:
    """Draw a plan's course; None for one that lasts no time at all."""
    end_s = course.duration_s
    if end_s <= 0:
        return None
    unit, unit_s = ("h", 3600.0) if end_s > 5400 else ("min", 60.0)
    stages = tuple(_stage(n, each, course, end_s) for n, each in enumerate(course.stages, 1))
    return Chart((_current(course), _thickness(course)), stages, time_marks(end_s, 4, unit, unit_s))


def _current(course: PlanCourse) -> Panel:
    low, high, step = scale([0.0, *course.current_a])
    density = shown(high / course.area_dm2, "A/dm²")
    return Panel(
        _("Current"),
        "A",
        _path(course, course.current_a, low, high),
        marks(low, high, step),
        _(
            "Current in A against time, from %(least)s to %(most)s A.",
            least=f"{min(course.current_a):.3g}",
            most=f"{max(course.current_a):.3g}",
        ),
        marks(0.0, density, step_of(density, at_most=4)),
        sign("A/dm²"),
    )


def _thickness(course: PlanCourse) -> Panel:
    into, unit = converter("µm"), sign("µm")
    thickness, target = [into(um) for um in course.thickness_um], into(course.target_um)
    low, high, step = scale([0.0, *thickness, target])
    return Panel(
        _("Thickness"),
        unit,
        _path(course, thickness, low, high),
        marks(low, high, step),
        _(
            "Mean thickness in %(unit)s against time, up to %(most)s %(unit)s; the target is "
            "%(target)s.",
            unit=unit,
            most=f"{thickness[-1]:.3g}",
            target=as_set(course.target_um, "µm"),
        ),
        aim=(high - target) / (high - low),
    )


def _path(course: PlanCourse, values: Sequence[float], low: float, high: float) -> str:
    frame = Frame(0.0, course.duration_s, low, high)
    return path(frame.place(list(zip(course.times_s, values, strict=True))))


def _stage(number: int, stage: StageCourse, course: PlanCourse, end_s: float) -> StageDrawn:
    begins, ends = stage.begins_s / end_s, stage.ends_s / end_s
    named = ends - begins >= NAMED and len(stage.name) <= LETTERS * (ends - begins)
    return StageDrawn(
        number,
        stage.name,
        begins,
        ends,
        f"{number} {stage.name}" if named else f"{number}" if ends - begins >= NUMBERED else "",
        _current_of(stage, course.area_dm2),
        duration(stage.ends_s - stage.begins_s),
        _end_of(stage),
        _(
            "%(charge)s Ah, then %(thickness)s µm in all",
            charge=f"{stage.charge_ah:.3g}",
            thickness=fixed(stage.to_um, 1),
        ),
    )


def _current_of(stage: StageCourse, area_dm2: float) -> str:
    current = f"{stage.current_a:.3g} A, {stage.current_a / area_dm2:.3g} A/dm²"
    if not stage.ramp_s:
        return current
    return _("%(current)s, within %(time)s", current=current, time=duration(stage.ramp_s))


def _end_of(stage: StageCourse) -> str:
    end = spoken(ENDS.get(stage.ended_by, stage.ended_by))
    if stage.sooner_below_v is None:
        return end
    return _("%(end)s, or sooner below %(volts)s V", end=end, volts=f"{stage.sooner_below_v:g}")
