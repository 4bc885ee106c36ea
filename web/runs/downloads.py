"""The readings of a run as files, streamed as they are read."""

import threading
from collections.abc import Callable, Iterable, Iterator, Sequence

from flask import Flask, Response, abort
from flask.typing import ResponseReturnValue

from daemon.api.runs.readings import AFTER_S, about, csv_chunks, file_name
from daemon.api.runs.readings_parquet import NoParquetError, parquet_chunks
from daemon.record.entries import Sample
from daemon.record.errors import NoSuchRunError, RecordError
from daemon.record.queries import Run
from web.language import gettext as _
from web.listing import unreadable
from web.record import Runs, record_number
from web.runs.report import no_such_run
from web.text import Trouble
from web.trouble import show

AT_ONCE = 2
"""Files that are sent at the same time: half of the server's threads, so that a slow browser never
keeps anybody from Stop."""

Chunks = Callable[[Run, Iterable[tuple[str, str]], Iterable[Sequence[Sample]]], Iterator[bytes]]


class DownloadPages:
    """The views, over one record."""

    def __init__(self, runs: Runs) -> None:
        self._runs = runs
        self._free = threading.BoundedSemaphore(AT_ONCE)

    def route(self, app: Flask) -> None:
        """Give each view its address."""
        app.add_url_rule("/runs/<number>/readings.csv", "readings_csv", self.csv)
        app.add_url_rule("/runs/<number>/readings.parquet", "readings_parquet", self.parquet)

    def csv(self, number: str) -> ResponseReturnValue:
        """Send the readings as CSV."""
        return self._sent(number, csv_chunks, "csv", "text/csv; charset=utf-8")

    def parquet(self, number: str) -> ResponseReturnValue:
        """Send the readings as a Parquet file."""
        return self._sent(number, parquet_chunks, "parquet", "application/vnd.apache.parquet")

    def _sent(self, number: str, chunks: Chunks, ending: str, kind: str) -> ResponseReturnValue:
        run_id = record_number(number)
        if run_id is None:
            abort(404)
        try:
            run, calibration = self._runs.counted(run_id)
            read = self._runs.readings(run_id, run.elapsed_s + AFTER_S)
            body = chunks(run, about(run, calibration), read)
        except NoSuchRunError:
            return show(no_such_run(run_id), 404)
        except RecordError as error:
            return unreadable(error)
        except NoParquetError as error:
            then = _("The CSV has the same readings.")
            return show(Trouble(_("There is no Parquet here."), f"{error}. {then}"), 501)
        if not self._free.acquire(blocking=False):
            busy = Trouble(
                _("Other readings are being sent."),
                _("Ask again when they have arrived: they are two at a time at most."),
            )
            return show(busy, 503)
        response = Response(body, content_type=kind)
        response.headers["Content-Disposition"] = (
            f"attachment; filename={file_name(run_id, ending)}"
        )
        response.call_on_close(self._free.release)
        return response
