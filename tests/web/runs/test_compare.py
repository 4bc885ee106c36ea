"""Two runs beside each other: differences by hand, and which line is which."""

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient
from reading import words
from run_records import DAY_MS, HOUR_MS, STARTED_MS, a_run, begun, keep, over, readings

Make = Callable[..., Any]


@pytest.fixture(scope="module")
def two(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Run 12, an hour with 2 Ah; run 13 ended after 20 min with a third of an Ah; 14 is empty."""
    path = tmp_path_factory.mktemp("two") / "record.db"
    later_ms = STARTED_MS + DAY_MS
    short = {
        "state": "stopped", "reason": "stopped by anna", "charge_ah": 1 / 3, "elapsed_s": 1200.0,
        "running_s": 1200.0, "utc_ms": later_ms + HOUR_MS // 3, "thickness_um": 8.82,
    }  # fmt: skip
    keep(
        path,
        *a_run(12),
        begun(13, utc_ms=later_ms, title="<i>Knob</i>", bath="Copper 2"),
        *readings(13, until_s=1200.0),
        over(13, **short),
        begun(14),
    )
    return path


@pytest.fixture
def page(make_client: Make, two: Path) -> FlaskClient:
    client: FlaskClient = make_client(two)
    return client


def test_differences_are_those_of_a_sum_by_hand(page: FlaskClient) -> None:
    text = words(page.get("/runs/compare?run=12&run=13"))
    # 2 Ah against a third: 1.6667 less, which is five sixths. 52.92 µm against 8.82.
    assert "Charge 2.00 ± 0.04 Ah (95 %) 0.333 ± 0.007 Ah (95 %) −1.6667 Ah (−83.3 %)" in text
    assert "8.8 ± 0.5 µm (95 %) −44.10 µm (−83.3 %)" in text
    assert "Plated 1 h 00 min 20 min −40 min" in text
    # 4 A/dm² against 1 A on 0.5 dm²; 1.8333 V in the mean (1.5 and twice as long 2) against 1.5.
    assert "Density in the mean 4.00 A/dm² 2.00 A/dm² −2.00 A/dm² (−50.0 %)" in text
    assert re.search(r"Voltage in the mean 1\.83\d V 1\.500 V −0\.33\d V \(−18\.\d %\)", text)
    assert "Energy of the cell 3.8 Wh 0.5 Wh −3.3 Wh" in text
    assert "Target 52.92 µm 52.92 µm Charge" in text
    assert "Ended complete stopped differs" in text
    assert "Bath Copper 1 Copper 2 differs" in text
    assert "Plan as written as written" in text


def test_lines_are_told_apart_by_dashes_and_labels(page: FlaskClient) -> None:
    html = page.get("/runs/compare?run=12&run=13").text
    assert html.count('<path class="real"') == html.count('<path class="other"') == 3
    labels = re.findall(r'<text class="label"[^>]*>(\d+)<', html)
    assert labels == ["12", "13"] * 3
    # The second ends after a third of the first's hour, for both begin at the same place.
    ends = [float(x) for x in re.findall(r'<text class="label" x="([\d.]+)%"', html)]
    assert ends[1] == pytest.approx(33.33, abs=0.1)
    assert "<i>Knob" not in html


def test_two_runs_have_to_be_named(page: FlaskClient) -> None:
    assert "Which two runs?" in words(page.get("/runs/compare"))
    html = page.get("/runs/compare?run=12").text
    assert 'value="12"' in html
    for query, said in (
        ("run=12&run=x", "named by its number"),
        ("run=12&run=12", "the same run twice"),
        ("run=12&run=13&run=14", "Two runs are compared at a time."),
    ):
        response = page.get(f"/runs/compare?{query}")
        assert response.status_code == 422
        assert said in words(response)
    response = page.get("/runs/compare?run=12&run=99")
    assert response.status_code == 404
    assert "There is no run 99" in words(response)


def test_a_run_of_which_nothing_is_known_is_compared_too(page: FlaskClient) -> None:
    text = words(page.get("/runs/compare?run=12&run=14"))
    assert "Plated 1 h 00 min –" in text
