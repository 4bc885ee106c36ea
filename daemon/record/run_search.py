"""Which runs somebody looks for: by words, bath, days and end.

Days, bath and end are found by the indices of the run's table, and what was noted of a run by those
of its number. Words within a title or a plan no index knows: they are looked for in all runs that
the rest has left, newest first, until a page is full. tests/benchmarks/runs.py measures both.
"""

from dataclasses import dataclass

from sqlalchemy import ColumnElement, Connection, and_, exists, or_, select

from daemon.record.tables import bath, bath_entry, run, settlement


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a run has to be; what is empty or None is no condition.

    words: each has to stand in its title, its plan (the part's name with it), or a note on it.
    from_utc_ms, until_utc_ms: when it started, ms since 1970 UTC, both included. states: how it
    ended, one of these. left_out: texts; runs whose plan holds all of them are not wanted.
    """

    words: tuple[str, ...] = ()
    bath: str | None = None
    from_utc_ms: int | None = None
    until_utc_ms: int | None = None
    states: tuple[str, ...] = ()
    left_out: tuple[str, ...] = ()


def find(
    connection: Connection, wanted: Wanted, *, limit: int, before_id: int | None = None
) -> list[int]:
    """The numbers of the runs that are wanted, newest first, at most `limit`; before `before_id`.

    Upper and lower case are one, in words that SQLite can tell nothing of (ä, Ä) as they are
    written, all small, all capital, or with a capital first letter.
    """
    chosen = select(run.c.id).where(*_conditions(wanted))
    if before_id is not None:
        chosen = chosen.where(run.c.id < before_id)
    return list(connection.execute(chosen.order_by(run.c.id.desc()).limit(limit)).scalars())


def _conditions(wanted: Wanted) -> list[ColumnElement[bool]]:
    found: list[ColumnElement[bool]] = []
    if wanted.bath is not None:
        of_bath = select(bath.c.id).where(bath.c.name == wanted.bath)
        found.append(run.c.bath_id.in_(of_bath))
    if wanted.from_utc_ms is not None:
        found.append(run.c.started_utc_ms >= wanted.from_utc_ms)
    if wanted.until_utc_ms is not None:
        found.append(run.c.started_utc_ms <= wanted.until_utc_ms)
    if wanted.states:
        found.append(run.c.state.in_(wanted.states))
    if wanted.left_out:
        held = (run.c.plan.contains(text, autoescape=True) for text in wanted.left_out)
        found.append(~and_(*held))
    # Last, since they cost the most: SQLite looks at conditions without an index in their order.
    found += [_somewhere(word) for word in wanted.words]
    return found


def _somewhere(word: str) -> ColumnElement[bool]:
    entered = exists().where(bath_entry.c.run_id == run.c.id, _in(bath_entry.c.note, word))
    settled = exists().where(settlement.c.run_id == run.c.id, _in(settlement.c.note, word))
    return or_(_in(run.c.title, word), _in(run.c.plan, word), entered, settled)


def _in(text: ColumnElement[str], word: str) -> ColumnElement[bool]:
    forms = {word} if word.isascii() else {word, word.lower(), word.upper(), word.capitalize()}
    return or_(*(text.icontains(form, autoescape=True) for form in sorted(forms)))
