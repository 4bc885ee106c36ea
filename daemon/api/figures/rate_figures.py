"""How often a dose falls due at a rate, as people ask about it, and in words."""

from pydantic import BaseModel, ConfigDict, Field

from daemon.api.explain import read_tree
from daemon.api.quantities import CurrentA, RateMlKah, VolumeMl
from daemon.api.report import Report, Row
from daemon.api.sentence import duration

WHERE = "doses"
"""What errors call the form."""


class RateForm(BaseModel):
    """A rate and a dose; with a current also the time from dose to dose."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    rate: RateMlKah = Field(description="how much charge uses up", examples=['"150 mL/kAh"'])
    dose: VolumeMl = Field(description="how much is added at a time", examples=['"5 mL"'])
    current: CurrentA | None = None


def doses(tree: object) -> Report:
    """Read a form's texts and answer it. Raises InputError with every problem."""
    form = read_tree(tree, WHERE, RateForm)
    each_ah = 1000 * form.dose / form.rate
    rows = [
        Row("a dose", f"of {form.dose:.4g} mL falls due each {each_ah:.4g} Ah"),
        Row("used", f"{form.rate / 1000:.4g} mL by each Ah, {form.rate:.4g} mL by each kAh"),
    ]
    if form.current is not None:
        said = duration(3600 * each_ah / form.current)
        rows.append(Row("plating", f"at {form.current:.4g} A that is a dose each {said}"))
    return Report(tuple(rows))
