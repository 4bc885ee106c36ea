"""Parts as the daemon keeps them, and what plans get of them."""

import base64
from contextlib import ExitStack

import pytest

from daemon.api.errors import InputError
from daemon.api.socket.parts import PartRequest
from daemon.clock import SystemClock
from daemon.record import audits, parts
from daemon.record.errors import NoSuchPartError
from daemon.record.store import open_reader
from daemon.record.writer import Writer
from daemon.service.keeping.parts import PartKeeper
from daemon.service.starts.known import known_by

PNG = b"\x89PNG\r\n\x1a\n and so on"


def asked(**changes):
    fields = {
        "name": "lamp foot", "made_from": "foot.stl", "area_dm2": 1.8, "u95_dm2": 0.09,
        "volume_cm3": 20.0, "settings": {"unit": "mm"}, "who": "anna", "where": "command line",
        "picture": base64.b64encode(PNG).decode(), "sha256": "ab" * 32,
    }  # fmt: skip
    return PartRequest(**(fields | changes))


@pytest.fixture
def path(tmp_path):
    return tmp_path / "record.sqlite"


@pytest.fixture
def writer(path):
    writer = Writer(path, threaded=False)
    yield writer
    writer.close()


@pytest.fixture
def known(writer, path):
    with ExitStack() as stack:
        yield known_by(path, "bath A", stack)


@pytest.fixture
def ask(writer, path):
    def look(question, *args):
        engine = open_reader(path)
        with engine.connect() as connection:
            found = question(connection, *args)
        engine.dispose()
        return found

    return look


def test_a_part_is_kept_with_who_and_when(writer, ask):
    kept = PartKeeper(writer, SystemClock()).keep(asked())
    assert ask(parts.picture, kept.id) == PNG
    found = ask(parts.newest, "lamp foot").made
    assert (found.area_dm2, found.u95_dm2, found.who) == (1.8, 0.09, "anna")
    assert found.settings == {"unit": "mm"}
    (entry,) = ask(audits.page)
    assert (entry.act.what, entry.act.detail, entry.act.refused) == (
        "keep a part", "lamp foot", None,
    )  # fmt: skip


@pytest.mark.parametrize("picture", ["no base64 !", base64.b64encode(b"GIF89a").decode(), "é"])
def test_a_picture_that_is_none_is_refused_and_told(writer, ask, picture):
    with pytest.raises(InputError, match="picture: must be a PNG file"):
        PartKeeper(writer, SystemClock()).keep(asked(picture=picture))
    assert ask(parts.holding) == []
    (entry,) = ask(audits.page)
    assert "PNG" in entry.act.refused


def test_plans_get_the_newest_and_their_starter_is_told(writer, known):
    keeper = PartKeeper(writer, SystemClock())
    keeper.keep(asked())
    keeper.keep(asked(area_dm2=2.0, u95_dm2=0.1))
    told = []
    area = known(told.append).part("lamp foot", 3)
    assert area.value == pytest.approx(6.0)
    assert area.uncertainty == pytest.approx(0.05)
    assert told == ["area 6 dm² by 3 of 'lamp foot', kept as part 2"]


def test_a_part_that_is_hardly_known_is_not_known_worse_than_not(writer, known):
    PartKeeper(writer, SystemClock()).keep(asked(area_dm2=1.0, u95_dm2=1.5))
    assert known(lambda _: None).part("lamp foot", 1).uncertainty == 1.0


def test_a_part_that_is_not_kept_is_refused_with_those_that_are(writer, known):
    PartKeeper(writer, SystemClock()).keep(asked())
    with pytest.raises(NoSuchPartError, match="no part 'knob' is kept; kept: lamp foot"):
        known(lambda _: None).part("knob", 1)
