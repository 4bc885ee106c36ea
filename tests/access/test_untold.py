"""What waits for the audit while no daemon runs."""

from daemon.access.untold import Change, Untold, untold_at


def test_what_the_audit_was_not_told_waits_for_it(tmp_path):
    untold = Untold(untold_at(tmp_path / "record.sqlite"))
    assert untold.all() == ()
    first, second = (
        Change(utc_ms=n, who="root", where="command line", what="end sessions", about=str(n))
        for n in (1, 2)
    )
    untold.add(first)
    waiting = untold.all()
    untold.add(second)
    untold.told(waiting)
    assert untold.all() == (second,)
    untold.told((second,))
    assert not untold.path.exists()
