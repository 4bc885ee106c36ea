"""Weighings in words: what one says, what they say together, and what they are asked about."""

from collections.abc import Sequence
from datetime import tzinfo

from daemon.api.bath import bath_words
from daemon.api.parts.report import plan_lines, sure
from daemon.api.report import Report, Row
from daemon.api.rounding import rounded
from daemon.api.runs.weighing import WHERE, Weighed
from daemon.api.unanswered import UnansweredError
from daemon.bath import weighing, weighings
from daemon.bath.parts.asked import Question
from daemon.bath.weighing import LEAST_WEIGHINGS, Learned
from daemon.bath.weighings import KeptWeighing
from daemon.chemistry.electrolysis import g_per_ah
from daemon.chemistry.uncertainty import Budget, coverage_factor

CONFIDENCE = 0.95
_GRAM_DECIMALS = 4


def report(done: Weighed) -> Report:
    """What was found, and what the weighings teach with it.

    Raises UnansweredError, with the rows, where it has to be said what becomes of a doubtful one.
    """
    rows, warnings = list(_found(done)), []
    trusted, area = done.form.trust, done.area
    if trusted is not None and area is not None:
        plated = done.part.last.area_dm2
        rows.append(
            Row(
                "area",
                f"{sure(area)}, if the efficiency is {100 * trusted:.4g} % and copper as thick "
                f"there as on the other {max(0.0, plated - area.value):.4g} of {plated:.4g} dm²",
            )
        )
        rows += [Row(*pair) for pair in zip(("plan", ""), plan_lines(area), strict=True)]
        return Report(tuple(rows))
    question = _question(done)
    if question is not None and done.form.doubtful not in question.choices:
        raise UnansweredError(WHERE, question, Report(tuple(rows)))
    if not done.counts:
        warnings.append("it is not averaged in")
    return Report((*rows, _teaching(done)), tuple(warnings))


def listing(found: Sequence[KeptWeighing], zone: tzinfo | None = None) -> Report:
    """The weighings of the account, newest first, and what all of them teach of each metal."""
    rows = tuple(Row(str(each.number), line(each, zone)) for each in reversed(found))
    return Report(rows + learned(found))


def learned(found: Sequence[KeptWeighing]) -> tuple[Row, ...]:
    """What the weighings of the account teach, a row for each metal."""
    rows = []
    for metal in dict.fromkeys(each.metal for each in found):
        counting = weighings.counting(found, metal)
        rows.append(Row("learned", _taught(weighing.learned(counting), len(counting), metal)))
    return tuple(rows)


def line(each: KeptWeighing, zone: tzinfo | None = None) -> str:
    """One weighing: when, which run, the masses, the efficiency, by whom."""
    half = coverage_factor(CONFIDENCE) * each.found.u
    left = "" if each.counts else ", not averaged in"
    return (
        f"{bath_words.stamp(each.at_utc_ms, zone)}  run {each.run_id}, {each.metal}: "
        f"{each.before_g:.6g} g to {each.after_g:.6g} g, {_percent(each.found.value, half)}{left}, "
        f"by {each.who}"
    )


def _found(done: Weighed) -> list[Row]:
    charge = done.part.charge
    whole_g = g_per_ah(done.metal) * charge.value
    others = ", ".join(str(run.id) for run in done.part.runs[:-1])
    runs = f", with run {others}" if others else ""
    limit = f"balance ± {done.form.limit_g:g} g"
    rows = [
        Row("run", f"{done.part.last.id}, {done.part.last.title}{runs}", typed=True),
        Row("charge", _sure(charge, "Ah")),
        Row("gain", f"{_sure(done.gain, 'g')}; Faraday's law gives {whole_g:.4g} g at 100 %"),
        Row("efficiency", _percent(done.found.value, done.found.budget.expanded(CONFIDENCE))),
        Row("doubt", _doubt(done.found.budget)),
    ]
    if done.form.balance is None:
        rows.append(
            Row("taken", f"{limit}, one digit (common practice); give what its manual says")
        )
    return rows


def _question(done: Weighed) -> Question | None:
    if done.beyond:
        return Question(
            "doubtful",
            f"more was gained than {done.part.charge.value:.4g} Ah can have deposited, beyond "
            "doubt: is it dry, is it this run, were hooks and tape weighed both times? It can be "
            "kept, and not averaged in",
            ("leave-out",),
        )
    if done.odd:
        return Question(
            "doubtful",
            "it does not belong to the earlier ones (Grubbs's test, 95 %): has a piece come off, "
            "was it dry? Is it to be averaged in or not",
            ("include", "leave-out"),
        )
    return None


def _teaching(done: Weighed) -> Row:
    together = done.together
    return Row("learned", _taught(weighing.learned(together), len(together), done.metal.name))


def _taught(found: Learned | None, number: int, metal: str) -> str:
    if found is None:
        more = LEAST_WEIGHINGS - number
        return f"{metal}: {number} of {LEAST_WEIGHINGS} weighings, {more} more are wanted"
    return (
        f"{metal}: {_percent(found.value, found.half95)} is to be expected, by {number} weighings "
        f"(weighted mean; from run to run s = {100 * found.between:.2g} %); it holds for plans "
        "that give no efficiency"
    )


def _sure(budget: Budget, unit: str) -> str:
    half = budget.expanded(CONFIDENCE)
    if not half > 0:
        return f"{budget.value:.5g} {unit}"
    value, doubt = rounded(budget.value, half, _GRAM_DECIMALS)
    return f"{value} ± {doubt} {unit} (95 %)"


def _percent(share: float, half: float) -> str:
    if not half > 0:
        return f"{100 * share:.4g} %"
    value, doubt = rounded(100 * share, 100 * half, 2)
    return f"{value} ± {doubt} % (95 %)"


def _doubt(budget: Budget) -> str:
    """The standard uncertainty, and its causes as shares of its square, the greatest first."""
    if not budget.u > 0:
        return "none is known: the run's meter has none stated"
    shares = sorted(budget.shares, key=lambda share: -share.u)
    told = ", ".join(f"{share.name} {100 * (share.u / budget.u) ** 2:.0f} %" for share in shares)
    return f"u = {100 * budget.u:.2g} %; of u²: {told}"
