"""The bath's account on the page, today or on a past day, and the correction of an entry."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from flask import Flask, abort, flash, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from flask_limiter import Limiter

from daemon.api.bath import bath_correcting, bath_words
from daemon.api.bath.bath_texts import day_end
from daemon.api.errors import InputError
from daemon.api.report import Row
from daemon.api.socket.client import DaemonUnreachableError
from daemon.bath import account, kinds
from daemon.bath.account import Standing
from daemon.bath.book import Book
from daemon.bath.components import VOLUME
from daemon.clock import to_ms
from daemon.record.bath_entries import BathEntry
from daemon.record.errors import NoSuchBathEntryError, RecordError
from web.bath.entering import entered
from web.bath.known import known
from web.forms import Field, Form, Group, filled
from web.gate.protection import ACTS_A_MINUTE
from web.language import gettext as _
from web.listing import page_after, page_token
from web.record import Runs
from web.tank import Tank
from web.text import UNSURE, Trouble
from web.times import stamp, zone_name
from web.trouble import show
from web.typography import capital

if TYPE_CHECKING:
    # It brings numpy along: only who asks for a past day has it loaded.
    from daemon.bath.foresight import Foresight

ON = Group("A past day", (Field("on", "As it stood at the end of", "", "2026-11-20"),))

RIGHT = Group(
    "Correct it",
    (
        Field("amount", "What is right", "", "7 mL"),
        Field("who", "You are", "", "name"),
        Field("note", "Note, if any"),
    ),
)
WITHDRAW = Group("Withdraw it", (Field("by", "You are", "", "name"), Field("why", "Note, if any")))

CORRECTED_BY_AMOUNT = (
    kinds.DOSE, kinds.ADDITION, kinds.WATER, kinds.SAMPLE, kinds.DRAG_OUT, kinds.APPEARANCE,
)  # fmt: skip
"""Kinds that an amount, or words, are all there is to; others are withdrawn and entered anew."""


@dataclass(frozen=True, slots=True)
class Shown:
    """An entry in words: what it says, when it happened, by whom, and what has corrected it."""

    number: int
    at: str
    said: str
    by: str
    note: str
    corrections: tuple[str, ...]
    withdrawn: bool
    may_be_corrected: bool


class AccountPages:
    """The views, over one daemon and one record."""

    def __init__(self, tank: Tank, runs: Runs) -> None:
        self._tank = tank
        self._runs = runs

    def route(self, app: Flask, limiter: Limiter) -> None:
        """Give each view its address."""
        app.add_url_rule("/bath/account", "account", self.page)
        app.add_url_rule("/bath/account/<int:number>", "account_entry", self.entry)
        for name, view in (("correct", self.correct), ("withdraw", self.withdraw)):
            limited = limiter.limit(ACTS_A_MINUTE)(view)
            app.add_url_rule(
                f"/bath/account/<int:number>/{name}", f"account_{name}", limited, methods=["POST"]
            )

    def page(self) -> ResponseReturnValue:
        """Show the account now, or (query `on`) as it stood at the end of a day.

        `before` in the query is the number of an entry; the list then begins with the one before.
        """
        of_bath, before = known(self._tank, self._runs), page_token()
        form, book = filled((ON,), request.args), of_bath.book
        expected: tuple[Row, ...] = ()
        if form.text("on") and book is not None:
            try:
                on_ms = min(to_ms(day_end("on", form.text("on"))), book.utc_ms)
                found = self._runs.foresight(book.description.name, on_ms, past=True)
                book, expected = found.book, _expected(found)
            except InputError as error:
                form = form.refused(error)
            except RecordError as error:
                return show(Trouble(_("The record cannot be read."), f"{error}."), 503)
        past = bool(form.text("on") and not form.wrong)
        entries, older = ((), None) if book is None else _entries(book, before)
        html = render_template(
            "account.html",
            of_bath=of_bath,
            form=form,
            on=stamp(book.utc_ms)[:16] if book is not None and past else None,
            volume=None if book is None else bath_words.volume(book),
            charge_ah=None if book is None else book.charge_ah,
            expected=expected,
            balances=() if book is None else _balances(book),
            entries=entries,
            older=older,
            before=before,
            zone=zone_name(),
        )
        if of_bath.status is None:
            return html, 503
        return html, 422 if form.wrong else 200

    def entry(self, number: int) -> ResponseReturnValue:
        """Show one entry, with the forms that correct and withdraw it."""
        return self._one(number, filled((RIGHT,), {}), filled((WITHDRAW,), {}))

    def correct(self, number: int) -> ResponseReturnValue:
        """Have the daemon enter what is right."""
        form = filled((RIGHT,), request.form)
        book = known(self._tank, self._runs).book
        if book is None:
            return show(UNSURE, 503)
        try:
            before = account.one(book.entries, number)
            values: tuple[str, ...] = (form.text("amount"),)
            if before.kind == kinds.APPEARANCE:
                values = tuple(word.strip() for word in form.text("amount").split(","))
            written = bath_correcting.corrected(book, number, values)
            entered(self._tank, "correction", written, form.typed, corrects=number)
        except NoSuchBathEntryError:
            abort(404)
        except InputError as error:
            refused = form.refused(InputError("amount", error.problems))
            return self._one(number, refused, filled((WITHDRAW,), {}))
        except DaemonUnreachableError:
            return show(UNSURE, 503)
        flash(_("Entry %(number)s is corrected.", number=number), "done")
        return redirect(url_for("account"), 303)

    def withdraw(self, number: int) -> ResponseReturnValue:
        """Have the daemon enter that it does not hold."""
        form = filled((WITHDRAW,), request.form)
        told = {"who": form.text("by"), "note": form.text("why")}
        try:
            entered(self._tank, "correction", None, told, corrects=number)
        except InputError as error:
            return self._one(number, filled((RIGHT,), {}), form.refused(error))
        except DaemonUnreachableError:
            return show(UNSURE, 503)
        flash(_("Entry %(number)s is withdrawn.", number=number), "done")
        return redirect(url_for("account"), 303)

    def _one(self, number: int, right: Form, withdraw: Form) -> ResponseReturnValue:
        book = known(self._tank, self._runs).book
        if book is None:
            return show(UNSURE, 503)
        try:
            each = account.one(book.entries, number)
        except NoSuchBathEntryError:
            abort(404)
        html = render_template(
            "account_entry.html",
            each=_shown(each, account.additives_ever(book.entries)),
            right=right,
            withdraw=withdraw,
            is_look=each.kind == kinds.APPEARANCE,
        )
        wrong = right.is_wrong or withdraw.is_wrong
        return html, 422 if wrong else 200


def _balances(book: Book) -> tuple[tuple[str, str], ...]:
    additives = account.additives_ever(book.entries)
    found = account.balances(book.entries, book.utc_ms)
    return tuple(
        (name, bath_words.balance(name, amount, additives))
        for name, amount in found.items()
        if name != VOLUME
    )


def _entries(book: Book, before: int | None) -> tuple[tuple[Shown, ...], int | None]:
    """A page of the entries, newest first, and the number before which the next one begins."""
    additives = account.additives_ever(book.entries)
    found = account.standing(book.entries, book.utc_ms)
    page, older = page_after(found[::-1], lambda each: each.id, before)
    return tuple(_shown(each, additives) for each in page), older


def _expected(found: Foresight) -> tuple[Row, ...]:
    """What was expected in the bath on a past day, and left of its anodes."""
    from daemon.api.bath import expected_words

    contents = (
        () if found.expected is None else expected_words.contents(found.expected, found.book.utc_ms)
    )
    return (*contents, *expected_words.anodes(found.anodes))


def _shown(each: Standing, additives: tuple[str, ...]) -> Shown:
    made = each.first.made
    run = "" if each.run_id is None else _(", run %(number)s", number=each.run_id)
    return Shown(
        number=each.id,
        at=stamp(each.at_utc_ms)[:16],
        said=capital(bath_words.entry(each, additives)),
        by=f"{made.who}{run}",
        note=made.note,
        corrections=tuple(
            _corrected(by) + (f": {by.made.note}" if by.made.note else "")
            for by in each.corrections
        ),
        withdrawn=each.withdrawn,
        may_be_corrected=each.kind in CORRECTED_BY_AMOUNT,
    )


def _corrected(by: BathEntry) -> str:
    told = {"number": by.id, "at": stamp(by.made.utc_ms)[:16], "who": by.made.who}
    if by.made.facts is None:
        return _("Withdrawn by entry %(number)s, %(at)s, %(who)s", **told)
    return _("Corrected by entry %(number)s, %(at)s, %(who)s", **told)
