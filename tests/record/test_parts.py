"""Parts in the record: the newest of a name holds, and what was kept stays."""

import sqlite3
from dataclasses import replace

import pytest

from daemon.record import audits, parts, queries
from daemon.record.entries import Audited, PartKept, Reckoning
from daemon.record.errors import NoSuchPartError
from daemon.record.store import open_reader
from daemon.record.writer import Writer

FOOT = PartKept(
    name="lamp foot",
    utc_ms=1_700_000_000_000,
    who="anna",
    made_from="foot.stl",
    area_dm2=1.8,
    u95_dm2=0.09,
    volume_cm3=20.5,
    settings={"parts": ["foot.stl"], "liquid": "60 mm"},
    picture=b"\x89PNG\r\n\x1a\n and so on",
    sha256="ab" * 32,
)
ASKED = Audited(1_700_000_000_000, "anna", "command line", "keep a part", "lamp foot")


@pytest.fixture
def writer(path):
    writer = Writer(path, threaded=False)
    yield writer
    writer.close()


@pytest.fixture
def connection(writer, path):
    with open_reader(path).connect() as connection:
        yield connection


def test_a_part_comes_back_as_it_was_kept(writer, connection):
    kept = writer.keep_part(FOOT, ASKED)
    assert (kept.made, kept.supersedes) == (FOOT, None)
    found = parts.newest(connection, "lamp foot")
    # Without its picture, which is asked for by itself.
    assert found.made == replace(FOOT, picture=None)
    assert parts.picture(connection, kept.id) == FOOT.picture
    assert audits.page(connection)[0].act == ASKED


def test_the_newest_of_a_name_holds_and_points_at_the_one_before(writer, connection):
    first = writer.keep_part(FOOT, ASKED)
    writer.keep_part(replace(FOOT, name="knob", area_dm2=0.2), ASKED)
    second = writer.keep_part(replace(FOOT, area_dm2=1.9), ASKED)
    third = writer.keep_part(replace(FOOT, area_dm2=2.0), ASKED)
    assert (second.supersedes, third.supersedes) == (first.id, second.id)
    assert parts.newest(connection, "lamp foot").made.area_dm2 == 2.0
    assert [(each.id, each.made.name) for each in parts.holding(connection)] == [
        (2, "knob"),
        (third.id, "lamp foot"),
    ]


def test_what_is_not_kept_is_told_with_what_is(writer, connection):
    with pytest.raises(NoSuchPartError, match="no part 'foot' is kept; kept: none"):
        parts.newest(connection, "foot")
    writer.keep_part(FOOT, ASKED)
    connection.rollback()
    with pytest.raises(NoSuchPartError, match="kept: lamp foot"):
        parts.newest(connection, "foot")
    with pytest.raises(NoSuchPartError, match="there is no part 7"):
        parts.picture(connection, 7)


def test_a_part_without_mesh_has_no_picture(writer, connection):
    kept = writer.keep_part(replace(FOOT, picture=None, sha256=None, volume_cm3=None), ASKED)
    assert parts.picture(connection, kept.id) is None


def test_what_a_run_is_reckoned_with_stays_with_it(writer, connection, opened):
    reckoning = Reckoning(area_u=0.025, efficiency=0.982, efficiency_u=0.004)
    writer.put(opened(reckoning=reckoning))
    assert writer.flush()
    assert queries.one_run(connection, 1).reckoning == reckoning


def test_a_run_of_an_earlier_program_has_no_reckoning(writer, connection, opened):
    writer.put(opened())
    assert writer.flush()
    assert queries.one_run(connection, 1).reckoning is None


def test_a_part_and_who_asked_for_it_go_together(writer, path):
    with pytest.raises(ValueError, match="JSON"):
        writer.keep_part(replace(FOOT, settings={"scale": float("nan")}), ASKED)
    raw = sqlite3.connect(path)
    assert raw.execute("SELECT count(*) FROM audit").fetchone() == (0,)
    raw.close()
