"""Plans as the daemon keeps them: whole files, which nobody loses to somebody else's change."""

import errno
import hashlib
from pathlib import Path

import pytest

from daemon.api.errors import InputError
from daemon.api.plans.kept import kept_plan, kept_plans, plans_at, rehearsals
from daemon.api.socket.plans import DropPlanRequest, KeepPlanRequest
from daemon.clock import SystemClock
from daemon.record import audits
from daemon.record.store import open_reader
from daemon.record.writer import Writer
from daemon.service.keeping import plans as plan_keeping
from daemon.service.keeping.plans import PlanKeeper

PLAN = Path("daemon/service/examples/lamp_foot.toml").read_text("utf-8")
OTHER = PLAN.replace('"25 µm"', '"20 µm"')


@pytest.fixture
def record(tmp_path):
    return tmp_path / "record.sqlite"


@pytest.fixture
def folder(record):
    return plans_at(record)


@pytest.fixture
def keeper(record, folder):
    writer = Writer(record, threaded=False)
    yield PlanKeeper(folder, writer, SystemClock())
    writer.close()


def keep(keeper, name="lamp foot", plan=PLAN, seen=None):
    keeper.keep(KeepPlanRequest(name=name, plan=plan, seen=seen, who="anna", where="page"))


def sha256(text):
    return hashlib.sha256(text.encode()).hexdigest()


def audit(record):
    engine = open_reader(record)
    with engine.connect() as connection:
        found = audits.page(connection, limit=10)
    engine.dispose()
    return [(each.act.who, each.act.what, each.act.detail, each.act.refused) for each in found]


def test_a_plan_is_a_file_that_can_be_run_by_hand(keeper, folder, record):
    keep(keeper)
    assert (folder / "lamp foot.toml").read_text("utf-8") == PLAN
    assert [path.name for path in folder.iterdir()] == ["lamp foot.toml"]
    assert audit(record) == [("anna", "keep a plan", "lamp foot", None)]


def test_a_file_written_by_hand_is_a_plan_too(keeper, folder):
    folder.mkdir()
    (folder / "by hand.toml").write_text(PLAN, "utf-8")
    (folder / "notes.txt").write_text("no plan")
    (folder / ".hidden.toml").write_text(PLAN, "utf-8")
    (kept,) = kept_plans(folder)
    assert (kept.name, kept.read.title) == ("by hand", "Lamp foot, 25 µm")
    keep(keeper, "by hand", OTHER, kept.sha256)
    assert kept_plan(folder, "by hand").text == OTHER


def test_nobody_writes_over_what_they_have_not_seen(keeper, folder, record):
    keep(keeper)
    with pytest.raises(InputError, match="is kept already: take another name"):
        keep(keeper, plan=OTHER)
    (folder / "lamp foot.toml").write_text(OTHER, "utf-8")
    with pytest.raises(InputError, match="has been changed meanwhile"):
        keep(keeper, plan=PLAN, seen=sha256(PLAN))
    with pytest.raises(InputError, match="has been changed meanwhile"):
        keeper.drop(DropPlanRequest(name="lamp foot", seen=sha256(PLAN), who="ben"))
    assert kept_plan(folder, "lamp foot").text == OTHER
    with pytest.raises(InputError, match="is not kept any more"):
        keep(keeper, "gone", PLAN, sha256(PLAN))
    assert [what for _, what, _, refused in audit(record) if refused] == [
        "keep a plan", "delete a plan", "keep a plan", "keep a plan",
    ]  # fmt: skip


def test_a_plan_is_deleted(keeper, folder, record):
    keep(keeper)
    keeper.drop(DropPlanRequest(name="lamp foot", seen=sha256(PLAN), who="ben"))
    assert kept_plans(folder) == []
    assert audit(record)[0] == ("ben", "delete a plan", "lamp foot", None)


@pytest.mark.parametrize(
    "name",
    [
        "..", "../record", "/etc/passwd", "a/b", ".hidden", "a\0b", "a\nb", "<b>x</b>", "a" * 61,
        " ", "-rf", "a\\b", "plan.",
    ],
)  # fmt: skip
def test_names_that_are_no_files_of_ours(keeper, folder, record, tmp_path, name):
    before = sorted(tmp_path.rglob("*"))
    with pytest.raises(InputError, match="must be 1 to 60 letters"):
        keep(keeper, name)
    with pytest.raises(InputError, match="must be 1 to 60 letters"):
        keeper.drop(DropPlanRequest(name=name, seen=sha256(PLAN), who="ben"))
    assert kept_plan(folder, name) is None
    assert sorted(tmp_path.rglob("*")) == before


def test_what_is_no_plan_is_not_kept(keeper, folder):
    with pytest.raises(InputError, match="target: expected a length"):
        keep(keeper, plan=PLAN.replace('"25 µm"', '"25"'))
    assert kept_plans(folder) == []


def test_a_disk_that_refuses_leaves_the_old_plan_whole(keeper, folder, record, mocker):
    keep(keeper)
    full = OSError(errno.ENOSPC, "No space left on device")
    mocker.patch.object(plan_keeping, "take_place", side_effect=full)
    with pytest.raises(InputError, match="lamp foot: the disk does not take it: No space left"):
        keep(keeper, plan=OTHER, seen=sha256(PLAN))
    assert [path.name for path in folder.iterdir()] == ["lamp foot.toml"]
    assert kept_plan(folder, "lamp foot").text == PLAN
    assert audit(record)[0][3].endswith("No space left on device")


def test_files_that_cannot_be_plans_say_why(folder):
    folder.mkdir()
    (folder / "binary.toml").write_bytes(b"\xff\xfe")
    (folder / "long.toml").write_text("#" * 50_001)
    (folder / "we&rd.toml").write_text(PLAN, "utf-8")
    (folder / "typo.toml").write_text(PLAN.replace("target", "targt"), "utf-8")
    said = {each.name: str(each.read) for each in kept_plans(folder)}
    assert "binary.toml: is no UTF-8 text" in said["binary"]
    assert said["long"] == "long.toml: is longer than 50000 characters"
    assert "give the file another one" in said["we&rd"]
    assert "targt is an unknown key (did you mean target?)" in said["typo"]


def test_a_rehearsal_is_noted_of_the_plans_that_have_this_text(keeper, folder):
    keep(keeper)
    keep(keeper, "twin")
    keep(keeper, "other", OTHER)
    keeper.rehearsed(PLAN, works=True)
    keeper.rehearsed("no plan that is kept", works=True)
    found = rehearsals(folder)
    assert sorted(found) == ["lamp foot", "twin"]
    assert (found["twin"].works, found["twin"].sha256) == (True, sha256(PLAN))
    keeper.drop(DropPlanRequest(name="twin", seen=sha256(PLAN), who="ben"))
    keeper.rehearsed(OTHER, works=False)
    assert {name: each.works for name, each in rehearsals(folder).items()} == {
        "lamp foot": True, "other": False,
    }  # fmt: skip
    (folder / ".rehearsals.json").write_text("[]")
    assert rehearsals(folder) == {}
