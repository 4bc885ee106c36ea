"""One plain sentence about the tank: what is happening, when it is done, whom it needs.

The page opens with it and the command line prints it. Pure: a status goes in, words come out.
Sentences name thickness in µm and give clock times in the zone asked for.
"""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo
from typing import Literal

from daemon.api.rounding import fixed
from daemon.api.socket.messages import AlarmStatus, DueStatus, RunStatus, StateName, Status
from daemon.control.protection.causes import RUN_INTERRUPTED, STILL_ON

STALE_AFTER_S = 5.0
"""Real seconds. Older than this, a reading tells how the tank was, not how it is."""

Level = Literal["calm", "attention", "alarm"]
"""How much colour the words deserve: none, the amber of "abnormal", the red of "danger"."""

WITHOUT_CURRENT: frozenset[StateName] = frozenset({"idle", "stopped", "aborted", "complete"})
"""States in which the supply's output has no business being on."""

CALM_NEED = "Nothing needs you."

_DOING: dict[StateName, str] = {
    "running": "Plating",
    "holding": "Going to hold",
    "held": "Held",
    "restarting": "Resuming",
    "stopping": "Stopping",
    "aborting": "Aborting",
}


@dataclass(frozen=True, slots=True)
class Word:
    """The sentence in its parts, each a whole sentence or empty.

    `what` is happening, `figures` says how far and until when, `need` whether anybody is needed.
    """

    what: str
    figures: str
    need: str
    level: Level

    def __str__(self) -> str:
        return " ".join(part for part in (self.what, self.figures, self.need) if part)


DAEMON_DOWN = Word(
    "The daemon does not answer.",
    "Whether current flows is not known.",
    "Look at the supply, and switch it off there if in doubt.",
    "alarm",
)
"""What the page and the command line say when nobody answers at the control socket."""


def sentence(status: Status, zone: tzinfo | None = None) -> str:
    """Say it all in one line; `zone` as in `word`."""
    return str(word(status, zone))


def word(status: Status, zone: tzinfo | None = None) -> Word:
    """Say it in its parts, with clock times in `zone`; None is the machine's own zone."""
    said = _current_without_reason(status) or _no_reading(status) or _state(status, zone)
    if status.proving is not None:
        figures = _join(said.figures, f"The proof test is at {status.proving}.")
        said = Word(said.what, figures, said.need, said.level)
    if status.off_rehearsal is not None:
        figures = _join(said.figures, f"Not as rehearsed: {status.off_rehearsal}.")
        said = Word(said.what, figures, said.need, said.level)
    if status.alarms:
        said = _with_alarm(said, status.alarms)
    if status.notice is not None:
        return _with_need(said, _as_sentence(status.notice))
    if status.unrecorded:
        samples = "sample is" if status.unrecorded == 1 else "samples are"
        return _with_need(
            said, f"{status.unrecorded} {samples} missing from the record: look at the disk."
        )
    if status.state in WITHOUT_CURRENT:
        said = _with_unsettled(said, status.unsettled)
    return _with_due(said, status)


def reading_age_s(status: Status) -> float | None:
    """How old the newest reading is in a bystander's seconds, whatever the tank's clock rate."""
    return None if status.reading_age_s is None else status.reading_age_s / status.rate


def is_stale(status: Status) -> bool:
    """Whether the newest reading is missing or too old to be shown as how the tank is now."""
    age_s = reading_age_s(status)
    return age_s is None or age_s > STALE_AFTER_S


def finish(status: Status) -> datetime | None:
    """When the run is done, on the tank's clock, aware; None when nobody can honestly say."""
    if status.run is None or status.run.remaining_s is None:
        return None
    if status.state not in ("running", "restarting"):
        return None
    return utc_of(status.utc) + timedelta(seconds=status.run.remaining_s)


def utc_of(text: str) -> datetime:
    """Read an ISO 8601 text as an aware moment; without an offset it is UTC.

    Raises ValueError for any other text.
    """
    moment = datetime.fromisoformat(text)
    return moment if moment.tzinfo else moment.replace(tzinfo=UTC)


def clock(moment: datetime, now: datetime, zone: tzinfo | None) -> str:
    """Tell `moment` as somebody in `zone` says it at `now`: with the day only where it differs.

    `zone` None is the machine's own.
    """
    there, here = moment.astimezone(zone), now.astimezone(zone)
    days = (there.date() - here.date()).days
    if days == 0:
        return f"{there:%H:%M}"
    if days == 1:
        return f"{there:%H:%M} tomorrow"
    if days == -1:
        return f"{there:%H:%M} yesterday"
    return dated(there)


def dated(there: datetime) -> str:
    """Tell a moment with its day, whatever day it is: `03:40 on Monday 2 March`."""
    return f"{there:%H:%M} on {there:%A} {there.day} {there:%B}"


def duration(seconds: float) -> str:
    """Tell a length of time in the two largest units that matter: `2 h 05 min`, `7 min`, `48 s`."""
    if seconds < 100:
        return f"{max(0.0, seconds):.0f} s"
    minutes = round(seconds / 60)
    if minutes < 60:
        return f"{minutes} min"
    hours, minutes = divmod(minutes, 60)
    if hours < 48:
        return f"{hours} h {minutes:02d} min"
    days, hours = divmod(hours, 24)
    return f"{days} d {hours} h"


def thickness(run: RunStatus) -> str:
    """Tell the mean thickness in µm to a tenth; short of the target it never reads as there."""
    return fixed(run.thickness_um, 1, below=run.target_um)


def of_target(run: RunStatus) -> str:
    """Tell thickness and target: `18.2 of 25 µm`."""
    return f"{thickness(run)} of {run.target_um:g} µm"


def due_thing(due: DueStatus) -> str:
    """What is due: `5 mL of brightener`, `3 doses of 5 mL of brightener`, `filtration`."""
    if due.amount_ml is None:
        return due.name
    many = f"{due.doses} doses of " if due.doses > 1 else ""
    return f"{many}{due.amount_ml:.4g} mL of {due.name}"


def _current_without_reason(status: Status) -> Word | None:
    if not (status.output_on and status.state in WITHOUT_CURRENT):
        return None
    what = f"The supply's output is on although the run is {status.state}."
    if status.state == "idle":
        what = "The supply's output is on although nothing is running."
    return Word(what, "", "Switch the supply off by hand now.", "alarm")


def _no_reading(status: Status) -> Word | None:
    run = status.run
    if run is None or status.state in WITHOUT_CURRENT or not is_stale(status):
        return None
    age_s = reading_age_s(status)
    if age_s is None:
        silence = "but the supply has not been read yet"
    else:
        silence = f"but the supply has been silent for {duration(age_s)}"
    return Word(
        f"{_DOING[status.state]}, {silence}.",
        f"{of_target(run)} when last known.",
        "Look at the supply and its cable.",
        "attention",
    )


def _state(status: Status, zone: tzinfo | None) -> Word:
    run = status.run
    if run is None or status.state == "idle":
        return _at_rest(status)
    reason = _as_sentence(run.reason) if run.reason else ""
    there = of_target(run)
    match status.state:
        case "running" | "restarting":
            figures = _join(f"{there}, {_when(status, run, zone)}.", reason)
            return Word(f"{_DOING[status.state]}.", figures, CALM_NEED, "calm")
        case "holding" | "stopping":
            return Word(
                f"{_DOING[status.state]}.", f"{there}, the current is coming down.", reason, "calm"
            )
        case "held":
            need = _join(reason, "It waits for you: resume or stop.")
            return Word("Held.", f"{there} so far.", need, "attention")
        case "stopped":
            need = _join(reason, "The part can come out.")
            return Word("Stopped.", f"{there}, output off.", need, "calm")
        case "aborting":
            need = _join(reason, "If current still flows, switch the supply off by hand.")
            return Word("Aborting.", f"{there}, the output is being switched off.", need, "alarm")
        case "aborted":
            need = _join(reason, "Find the cause, then reset.")
            return Word("Aborted.", f"{there}, output off.", need, "alarm")
        case "complete":
            return Word("Done.", f"{there}, output off.", "The part can come out.", "calm")


def _at_rest(status: Status) -> Word:
    if status.run is None and any(alarm.cause == RUN_INTERRUPTED for alarm in status.alarms):
        off = "Nothing is running now, output off."
        return Word("A run was interrupted.", off, CALM_NEED, "calm")
    if status.run is None:
        none = "No run since the daemon's start, output off."
        return Word("Nothing is running.", none, CALM_NEED, "calm")
    figures = f"The last run ended at {of_target(status.run)}."
    return Word("Nothing is running.", figures, CALM_NEED, "calm")


def _when(status: Status, run: RunStatus, zone: tzinfo | None) -> str:
    if run.thickness_um >= run.target_um:
        return "the current is coming down"
    done = finish(status)
    if done is None:
        return "no finishing time yet"
    return f"done about {clock(done, utc_of(status.utc), zone)}"


def _with_unsettled(said: Word, runs: tuple[int, ...]) -> Word:
    """The words with the word that is wanted of a person, where nothing is more urgent."""
    if not runs or said.need != CALM_NEED:
        return said
    wanted = f"Say what passed while run {runs[-1]} was interrupted."
    return Word(said.what, said.figures, wanted, said.level)


def _with_due(said: Word, status: Status) -> Word:
    """The words with what the bath wants, where nothing is more urgent; that is no alarm.

    What a pump will give by itself it wants of nobody.
    """
    given = {pump.additive for pump in status.pumps if pump.gives_by_itself}
    wanted = [due for due in status.dues if due.doses and due.name not in given]
    if not wanted or said.level != "calm":
        return said
    need = "" if said.need == CALM_NEED else said.need
    need = _join(need, f"The bath wants {', '.join(due_thing(due) for due in wanted)}.")
    names = {due.name for due in wanted}
    for pump in status.pumps:
        if pump.additive in names:
            need = _join(need, f"The pump of {pump.additive} rests: {pump.why_not}.")
    return Word(said.what, said.figures, need, said.level)


def _with_need(said: Word, need: str) -> Word:
    if said.need != CALM_NEED:
        need = _join(said.need, need)
    level: Level = "attention" if said.level == "calm" else said.level
    return Word(said.what, said.figures, need, level)


def _with_alarm(said: Word, alarms: tuple[AlarmStatus, ...]) -> Word:
    """The words with the most urgent alarm's: its name and what it needs; the rest is beside it.

    Red is for high priority that nobody has acknowledged, and for what is red without it.
    """
    first = alarms[0]
    heard = first.acknowledged_by is not None
    level: Level = "alarm" if first.priority == "high" and not heard else "attention"
    level = max(level, said.level, key=_LEVELS.index)
    others = len(alarms) - 1
    more = "" if not others else f"{others} more {'alarm' if others == 1 else 'alarms'}."
    if first.cause in STILL_ON:
        seen = _as_sentence(first.seen)
        return Word(_as_sentence(first.cause), seen, _join(first.need, more), level)
    if first.first_out:
        what = f"{said.what.rstrip('.')}: {first.cause}."
        return Word(what, said.figures, _join(first.need, more), level)
    told = f"Acknowledged: {first.cause}." if heard else f"Alarm: {first.cause}. {first.need}"
    calm = "" if said.need == CALM_NEED else said.need
    return Word(said.what, said.figures, _join(calm, told, more), level)


_LEVELS: tuple[Level, ...] = ("calm", "attention", "alarm")


def _join(*parts: str) -> str:
    return " ".join(part for part in parts if part)


def _as_sentence(words: str) -> str:
    words = words.strip()
    if not words:
        return ""
    whole = words[0].upper() + words[1:]
    return whole if whole[-1] in ".!?" else f"{whole}."
