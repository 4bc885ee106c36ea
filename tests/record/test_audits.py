"""Who did what, from where, when: as it was put."""

from collections.abc import Callable
from typing import Any

from daemon.record import audits
from daemon.record.entries import Audited
from daemon.record.writer import Writer

Make = Callable[..., Any]


def act(number: int, **changes: Any) -> Audited:
    return Audited(number, "anna", "page, 192.0.2.7", "stop", f"run {number}", **changes)


def test_acts_come_back_newest_first_a_page_at_a_time(writer: Writer, ask: Make) -> None:
    acts = [act(1), act(2, refused="nothing runs"), act(3), act(4)]
    for each in acts:
        writer.put(each)
    writer.flush()

    first = ask(audits.page, limit=3)
    assert [entry.act for entry in first] == acts[:0:-1]
    rest = ask(audits.page, limit=3, before_id=first[-1].id)
    assert [entry.act for entry in rest] == acts[:1]
