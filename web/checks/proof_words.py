"""The proof test in words: how it stands, what a walk is at, how one ended. Pure."""

from datetime import datetime

from daemon.api.sentence import Level, Word, duration, utc_of
from daemon.api.socket.messages import Status
from daemon.api.socket.proof import ProofEnd, ProofStatus, ProofWalkStatus
from daemon.record.proofs import Proof
from web.checks.comparison import age
from web.language import gettext as _
from web.language import marked
from web.times import day
from web.typography import capital
from web.units import in_units

BEFORE_A_NIGHT = marked("Prove each way to stop before the next unattended night.")
REPAIR = marked("Repair it, then prove it again before any unattended night.")


def word(proof: ProofStatus, newest: Proof | None, watched: str | None, status: Status) -> Word:
    """What the page opens with. `newest` is the record's; `watched` is the walk being followed."""
    walk = proof.walk
    if walk is not None and walk.ended is None:
        said = _under_way(walk)
    elif watched is None:
        said = _standing(proof, newest, utc_of(status.utc))
    elif walk is None or walk.ended is None or walk.id != watched:
        said = Word(
            _("The walk is gone."),
            _("The daemon has started anew since, with the output off."),
            _("Nothing of it was kept: begin again."),
            "attention",
        )
    else:
        said = _over(walk, walk.ended, output_on=status.output_on)
    return Word(said.what, in_units(said.figures), in_units(said.need), said.level)


def left(walk: ProofWalkStatus) -> str:
    """How long a person is waited for; nothing while nobody is."""
    return "" if walk.left_s is None else _("%(time)s left", time=duration(walk.left_s))


def failed_of(proof: Proof) -> str:
    """The steps that failed in a proof test of the record."""
    return ", ".join(step.name for step in proof.made.steps if not step.passed)


def _under_way(walk: ProofWalkStatus) -> Word:
    step = walk.steps[walk.step]
    failed = any(each.state == "failed" for each in walk.steps)
    return Word(
        walk.todo or walk.question or walk.doing or step.happens,
        _(
            "Step %(step)s of %(steps)s: %(name)s.",
            step=walk.step + 1,
            steps=len(walk.steps),
            name=step.name,
        ),
        _("Expected: %(expected)s.", expected=step.expected),
        "attention" if failed else "calm",
    )


def _over(walk: ProofWalkStatus, end: ProofEnd, *, output_on: bool) -> Word:
    steps = len(walk.steps)
    kept = _("It is kept as proof test %(number)s.", number=end.kept)
    why = f"{capital(end.why)}." if end.why else ""
    match end.how:
        case "passed":
            return Word(_("Passed."), _("All %(steps)s steps.", steps=steps), kept, "calm")
        case "failed":
            names = ", ".join(step.name for step in walk.steps if step.state == "failed")
            return Word(
                _("Failed: %(names)s.", names=names), why, f"{_(REPAIR)} {kept}", "attention"
            )
        case "given up":
            off = _("The supply's output is still on: look at the tank.") if output_on else ""
            need = off or _("The output is off. Nothing is kept: begin again.")
            level: Level = "alarm" if output_on else "attention"
            return Word(_("The proof test ended early."), why, need, level)


def _standing(proof: ProofStatus, newest: Proof | None, utc: datetime) -> Word:
    if newest is None:
        if not proof.wanted:
            none = _("The settings name no contactor, interlock or signal.")
            return Word(
                _("Never proved here."), none, _("The supply itself can be proved."), "calm"
            )
        return Word(_("Never proved here."), "", _wanted(proof), "attention")
    made = datetime.fromtimestamp(newest.made.utc_ms / 1000, utc.tzinfo)
    ago = age((utc - made).total_seconds()).replace(" ", "\N{NO-BREAK SPACE}", 1)
    when = f"{day(newest.made.utc_ms)}, {ago}"
    if not newest.made.passed:
        what = _("The last proof test failed: %(steps)s.", steps=failed_of(newest))
        return Word(what, _("That was on %(when)s.", when=when), _(REPAIR), "attention")
    due = None if proof.due_utc is None else day(1000 * utc_of(proof.due_utc).timestamp())
    if proof.overdue is not None:
        return Word(
            _("Overdue since %(due)s.", due=due),
            _("The last proof test was on %(when)s.", when=when),
            _wanted(proof),
            "attention",
        )
    next_one = _("The next is due by %(due)s.", due=due) if proof.wanted and due else ""
    return Word(_("Each way to stop was proved."), _("On %(when)s.", when=when), next_one, "calm")


def _wanted(proof: ProofStatus) -> str:
    return (
        f"{_(BEFORE_A_NIGHT)} {_('No run starts until then.')}"
        if proof.required
        else _(BEFORE_A_NIGHT)
    )
