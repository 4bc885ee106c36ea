"""The cause and effect table of the settings, held against what is there to bring effects about."""

import difflib
from collections.abc import Mapping
from types import MappingProxyType
from typing import Annotated, Literal

from pydantic import Field, StrictBool

from daemon.api.explain import key_path
from daemon.api.quantities import RampS
from daemon.control.protection import causes as c
from daemon.control.protection.effects import DEFAULTS, Effects, Stop
from daemon.control.protection.effects import Table as CauseAndEffect
from daemon.service.settings.table import Table

StopWord = Literal["hold", "stop", "abort", "nothing"]

MUST_STOP: Mapping[str, str] = MappingProxyType(
    {
        c.OUTPUT_DID_NOT_STOP: "current flows that was to be gone",
        c.READING_LOST: "nobody knows what flows",
        c.DEVICE_FAILED: "what cannot be reached can be stopped in one way less",
        c.CONTACTOR_FAULT: "one of the two ways to stop has failed",
    }
)
"""Causes with which no run goes on, whatever the settings ask for, and why. When each is there is
decided by times of its own (`[loop] lost`, `[contactor] pull_in`), so that none is put off either.
"""

_TABLES = {"beacon": "[beacon]", "siren": "[siren]", "tell": "[[tell]]"}


class EffectsTable(Table):
    """What a cause brings about; what is left out stays as it is by default.

    `after` puts off the stop alone; beacon, siren and message come at once.
    """

    stop: StopWord | None = Field(
        default=None, description="what becomes of a run", examples=['"hold"']
    )
    after: RampS | None = Field(default=None, description="from cause to stop", examples=['"5 s"'])
    beacon: StrictBool | None = Field(default=None, description="whether it lights")
    siren: StrictBool | None = Field(default=None, description="whether it sounds")
    tell: StrictBool | None = Field(default=None, description="whether people are told")


class InterlockEffects(EffectsTable):
    """The same of an interlock, whose stop has to be said."""

    stop: Annotated[
        StopWord,
        Field(
            description="hold or stop (category 1), abort (category 0), or nothing",
            examples=['"abort"'],
        ),
    ]


def effects_table(
    rows: Mapping[str, EffectsTable],
    loops: Mapping[str, InterlockEffects],
    *,
    has_beacon: bool,
    has_siren: bool,
    can_tell: bool,
) -> CauseAndEffect:
    """The whole table: the defaults, a row for each interlock, and what the settings change.

    `rows` are the settings' by cause, `loops` the interlocks by name, in the order of the file. A
    default loses effects that nothing is there for; one that is asked for is refused. Raises
    `ValueError` that names the key, what came, and what is missing or allowed.
    """
    has = {"beacon": has_beacon, "siren": has_siren, "tell": can_tell}
    there = frozenset(name for name, is_there in has.items() if is_there)
    table = {cause: _row("", usual, EffectsTable(), there) for cause, usual in DEFAULTS.items()}
    for index, (name, loop) in enumerate(loops.items()):
        usual = Effects(siren=loop.stop == Stop.ABORT.value)
        table[c.INTERLOCK + name] = _row(key_path(("interlock", index)), usual, loop, there)
    for cause, asked in rows.items():
        key = key_path(("effects", cause))
        _refuse_unknown(key, cause, loops)
        _refuse_weakening(key, cause, asked)
        table[cause] = _row(key, DEFAULTS[cause], asked, there)
    return CauseAndEffect(MappingProxyType(table))


def _row(key: str, usual: Effects, asked: EffectsTable, there: frozenset[str]) -> Effects:
    stop = usual.stop if asked.stop is None else Stop(asked.stop)
    if stop is Stop.NOTHING and asked.after is not None:
        raise ValueError(f"{key}.after = {_shown(asked.after)}: there is no stop to put off")

    def wanted(effect: str, asked: bool | None, usual: bool) -> bool:
        if asked and effect not in there:
            missing = _TABLES[effect]
            raise ValueError(f"{key}.{effect} = true: there is no {missing} in these settings")
        return effect in there and (usual if asked is None else asked)

    return Effects(
        stop,
        after_s=usual.after_s if asked.after is None else asked.after,
        beacon=wanted("beacon", asked.beacon, usual.beacon),
        siren=wanted("siren", asked.siren, usual.siren),
        tell=wanted("tell", asked.tell, usual.tell),
    )


def _refuse_unknown(key: str, cause: str, loops: Mapping[str, InterlockEffects]) -> None:
    if cause in DEFAULTS:
        return
    if cause.startswith(c.INTERLOCK) or cause in loops:
        raise ValueError(f"{key}: what an interlock brings about stands in its [[interlock]]")
    similar = difflib.get_close_matches(cause.lower(), DEFAULTS, n=1)
    guess = f" (did you mean {similar[0]!r}?)" if similar else ""
    raise ValueError(f"{key}: there is no such cause{guess}; causes are: {', '.join(DEFAULTS)}")


def _refuse_weakening(key: str, cause: str, asked: EffectsTable) -> None:
    why = MUST_STOP.get(cause)
    if why is None:
        return
    if asked.stop == Stop.NOTHING.value:
        raise ValueError(f'{key}.stop = "nothing": {why}; allowed: hold, stop, abort')
    if asked.after:
        raise ValueError(f"{key}.after = {_shown(asked.after)}: {why}; this stop is not put off")


def _shown(after_s: float) -> str:
    return f'"{after_s:g} s"'
