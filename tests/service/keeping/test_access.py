"""Who was let in while no daemon ran stands in the audit after the next start."""

import pytest

from daemon.access.untold import Change, Untold, untold_at
from daemon.clock import SystemClock
from daemon.record import audits
from daemon.record.store import open_reader
from daemon.record.writer import Writer
from daemon.service.keeping.access import keep_untold


@pytest.fixture
def start(tmp_path):
    """Begin with the record, as the daemon does; gives its audit, the oldest first."""

    def start():
        record = tmp_path / "record.sqlite"
        writer = Writer(record, threaded=False)
        keep_untold(writer, record, SystemClock())
        writer.close()
        engine = open_reader(record)
        with engine.connect() as connection:
            kept = [entry.act for entry in audits.page(connection)]
        engine.dispose()
        return kept[::-1]

    return start


@pytest.fixture
def untold(tmp_path):
    return Untold(untold_at(tmp_path / "record.sqlite"))


def test_they_are_kept_once_with_their_moments(start, untold):
    for ms, what, about in (
        (1000, "make an operator", "anna"),
        (2000, "end sessions", "ben's"),
    ):
        change = Change(utc_ms=ms, who="root", where="command line", what=what, about=about)
        untold.add(change)
    for _ in range(2):
        assert [(act.utc_ms, act.who, act.origin, act.what, act.detail) for act in start()] == [
            (1000, "root", "command line", "make an operator", "anna"),
            (2000, "root", "command line", "end sessions", "ben's"),
        ]
    assert not untold.path.exists()


def test_a_spoiled_file_is_told_in_the_audit_and_kept(start, untold):
    untold.path.write_text("spoiled")
    untold.path.chmod(0o600)
    (told,) = start()
    assert told.who == "tankhand"
    assert told.refused == f"{untold.path}: holds nothing as tankhand keeps it"
    assert untold.path.read_text() == "spoiled"
