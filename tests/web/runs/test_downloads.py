"""Readings as files from the page: whole, two at a time, named by their run."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pyarrow as pa
import pytest
from flask.testing import FlaskClient
from pyarrow import parquet
from reading import words
from run_records import a_run, begun, keep

from daemon.api.runs import readings_parquet

Make = Callable[..., Any]


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("files") / "record.db"
    title = '../../etc/"<script>x</script>\r\nSet-Cookie: a=b'
    keep(path, *a_run(12, opened={"title": title}), begun(13))
    return path


@pytest.fixture
def page(make_client: Make, record: Path) -> FlaskClient:
    client: FlaskClient = make_client(record)
    return client


def test_every_reading_is_in_both_files(page: FlaskClient) -> None:
    response = page.get("/runs/12/readings.csv")
    assert response.status_code == 200
    assert response.content_type == "text/csv; charset=utf-8"
    assert response.headers["X-Content-Type-Options"] == "nosniff"
    assert response.is_streamed
    lines = response.text.splitlines()
    # An hour, a reading every 4 s, both ends: 901.
    assert sum(line.startswith("2026-03-01T2") for line in lines) == 901
    assert lines[-1].startswith("2026-03-01T21:00:00.000Z,3600.00000,2.50000,2.00000,")
    response = page.get("/runs/12/readings.parquet")
    table = parquet.read_table(pa.BufferReader(response.data))
    assert table.num_rows == 901
    assert table.column("charge_Ah")[-1].as_py() == pytest.approx(2.0, abs=1e-6)


def test_files_are_named_by_the_run_s_number_alone(page: FlaskClient) -> None:
    for ending in ("csv", "parquet"):
        response = page.get(f"/runs/12/readings.{ending}")
        assert response.headers["Content-Disposition"] == (
            f"attachment; filename=tankhand-run-12.{ending}"
        )
        assert "Set-Cookie" not in response.headers
        response.close()


def test_two_are_sent_at_a_time_and_no_more(page: FlaskClient) -> None:
    def again() -> int:
        return page.get("/runs/12/readings.csv", buffered=True).status_code

    slow = [page.get("/runs/12/readings.csv") for _ in range(2)]
    refused = page.get("/runs/12/readings.csv")
    assert refused.status_code == 503
    assert "Other readings are being sent." in words(refused)
    slow[0].close()
    assert [again(), again()] == [200, 200]
    slow[1].close()
    page.head("/runs/12/readings.csv").close()
    assert [again(), again(), again()] == [200, 200, 200]


def test_a_run_without_readings_or_none_at_all(page: FlaskClient) -> None:
    assert page.get("/runs/13/readings.csv").text.splitlines()[-1].startswith("utc,elapsed_s")
    for address in ("/runs/99/readings.csv", "/runs/..%2f12/readings.csv", "/runs/x/readings.csv"):
        assert page.get(address).status_code == 404


def test_the_report_leads_to_them_and_says_what_parquet_needs(
    page: FlaskClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    html = page.get("/runs/12").text
    assert 'href="/runs/12/readings.csv"' in html
    assert 'href="/runs/12/readings.parquet"' in html
    monkeypatch.setattr(readings_parquet, "is_there", lambda: False)
    assert "pip install 'tankhand[parquet]'" in words(page.get("/runs/12"))
    refused = page.get("/runs/12/readings.parquet")
    assert refused.status_code == 501
    assert "There is no Parquet here." in words(refused)
