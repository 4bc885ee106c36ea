"""Filtration and drag-out in words, against the Metal Finishing Guidebook and by hand."""

import pytest

from daemon.api.errors import InputError
from daemon.api.figures.bath_figures import drag_out, filtration


def rows(report):
    return {row.name: row.text for row in report.rows}


def test_a_hundred_gallons():
    # Metal Finishing Guidebook 2013, Fig. 4: 5 min at 10 turnovers an hour, 83 gal (315 L).
    said = rows(filtration({"volume": "100 gal", "flow": "1000 gal/h", "for": "5 min"}))
    assert said["turnovers"] == "10 in an hour"
    assert said["pumped"] == "315 L in 0.0833 h"
    # 1 - e^-0.8333 = 56.5 %
    assert said["taken out"].startswith("56.5 % of the dirt")


def test_how_long_it_takes():
    said = rows(filtration({"volume": "15 L", "flow": "60 L/h", "share": "97 %"}))
    # -ln 0.03 = 3.507; at 4 an hour 0.877 h
    assert said["for"] == "97 %: 3.51 turnovers, 0.877 h"


def test_by_area():
    assert rows(drag_out({"area": "180 dm²"}))["area"].endswith("carry away 180 mL")
    # 2 gal on 1000 ft² are 81.49 mL/m².
    said = rows(drag_out({"area": "1.8 m²", "rate": "2 gal/1000 ft²"}))["area"]
    assert said.endswith("at 81.49 mL/m² carry away 147 mL")


def test_by_a_tracer():
    # A trade note: 1000 lb at 20 oz/gal are 800 gal (3028 L).
    tree = {"added": "1000 lb", "start": "20 oz/gal", "end": "20 oz/gal", "volume": "1000 gal"}
    assert rows(drag_out({**tree, "limit": "0 %"}))["tracer"].startswith("3028 L of bath left")


def test_a_tracer_is_as_sure_as_its_analyses():
    # 15 L from 58 to 60 g/L, 100 g added: 70 g left, 1.186 L. Each analysis is within 2 %, so
    # u is 0.670 and 0.693 g/L, times (15 -+ 0.593)/59: 0.164 and 0.183 L, 0.245 together.
    tree = {"added": "100 g", "start": "58 g/L", "end": "60 g/L", "volume": "15 L"}
    assert rows(drag_out(tree))["tracer"].startswith("1.2 ± 0.5 L of bath (95 %) left")


def test_usual_figures_are_marked():
    said = rows(drag_out({}))
    assert "common practice" in said["usual"]
    assert "from memory, not checked" in said["handbooks"]


@pytest.mark.parametrize(
    ("call", "tree", "complaint"),
    [
        (filtration, {"flow": "60 L/h"}, "volume is missing"),
        (filtration, {"volume": "15 L", "flow": "60 L"}, "flow: expected a flow such as"),
        (filtration, {"volume": "15 L", "flow": "0 L/h"}, "flow: must be above 0 L/h"),
        (filtration, {"volume": "15 L", "flow": "60 L/h", "share": "100 %"}, "below 100 %"),
        (filtration, {"volume": "15 L", "flow": "60 L/h", "for": "x"}, "for: expected a time"),
        (drag_out, {"area": "0 dm²"}, "area: must be above 0 dm²"),
        (drag_out, {"limit": "2"}, "limit: must be at least 0 and below 100 %"),
        (drag_out, {"added": "100 g"}, "needs all of added, start, end and volume"),
        (drag_out, {"added": "20 g", "start": "58 g/L", "end": "60 g/L", "volume": "15 L"},
         "by this tracer no bath was lost"),
    ],
)  # fmt: skip
def test_one_clear_error(call, tree, complaint):
    with pytest.raises(InputError) as refused:
        call(tree)
    (problem,) = refused.value.problems
    assert complaint in problem
