"""The cause and effect table of settings: defaults, interlocks, changes, and what is refused."""

import pytest
from pydantic import ValidationError

from daemon.control.protection.causes import CAUSES
from daemon.control.protection.effects import Effects, Stop
from daemon.service.settings.effects import (
    MUST_STOP,
    EffectsTable,
    InterlockEffects,
    effects_table,
)

EVERYTHING = {"has_beacon": True, "has_siren": True, "can_tell": True}
NOTHING = {"has_beacon": False, "has_siren": False, "can_tell": False}


def table(effects=None, loops=None, **there):
    """The table of these settings, as a TOML reader hands them over."""
    return effects_table(
        {cause: EffectsTable.model_validate(keys) for cause, keys in (effects or {}).items()},
        {name: InterlockEffects.model_validate(keys) for name, keys in (loops or {}).items()},
        **(EVERYTHING | there),
    )


def refused(*settings, **there):
    with pytest.raises(ValueError, match=r".") as error:
        table(*settings, **there)
    return str(error.value)


# What holds where nothing is set.


def test_with_everything_there_each_cause_has_its_default():
    made = table()
    assert set(made.rows) == set(CAUSES)
    assert made.row("short") == Effects(Stop.ABORT, 0.0, beacon=True, siren=True, tell=True)
    assert made.row("part lost") == Effects(Stop.HOLD, 0.0, beacon=True, siren=False, tell=True)
    assert made.row("clock stepped") == Effects(Stop.NOTHING, 0.0, beacon=False, tell=False)


@pytest.mark.parametrize(
    ("missing", "left"),
    [
        ("has_beacon", Effects(Stop.ABORT, beacon=False, siren=True, tell=True)),
        ("has_siren", Effects(Stop.ABORT, beacon=True, siren=False, tell=True)),
        ("can_tell", Effects(Stop.ABORT, beacon=True, siren=True, tell=False)),
    ],
)
def test_a_default_loses_what_nothing_is_there_for(missing, left):
    assert table(**{missing: False}).row("short") == left


def test_with_nothing_there_the_stops_stay():
    made = table(**NOTHING)
    assert all(not (row.beacon or row.siren or row.tell) for row in made.rows.values())
    assert {cause: row.stop for cause, row in made.rows.items()} == {
        cause: row.stop for cause, row in table().rows.items()
    }


# Interlocks.


def test_an_interlock_has_a_row_of_its_own():
    loops = {
        "emergency stop": {"stop": "abort"},
        "lid": {"stop": "hold"},
        "agitation": {"stop": "hold", "after": "1 min", "siren": True},
        "filter pump": {"stop": "nothing", "beacon": False},
        "leak": {"stop": "abort", "siren": False, "tell": False},
    }
    made = table(None, loops)
    rows = {name.removeprefix("interlock: "): made.row(name) for name in list(made.rows)[-5:]}
    assert rows == {
        "emergency stop": Effects(Stop.ABORT, 0.0, beacon=True, siren=True, tell=True),
        "lid": Effects(Stop.HOLD, 0.0, beacon=True, siren=False, tell=True),
        "agitation": Effects(Stop.HOLD, 60.0, beacon=True, siren=True, tell=True),
        "filter pump": Effects(Stop.NOTHING, 0.0, beacon=False, siren=False, tell=True),
        "leak": Effects(Stop.ABORT, 0.0, beacon=True, siren=False, tell=False),
    }


def test_an_interlock_s_default_loses_what_nothing_is_there_for():
    made = table(None, {"leak": {"stop": "abort"}}, **NOTHING)
    assert made.row("interlock: leak") == Effects(Stop.ABORT, beacon=False, tell=False)


def test_what_an_interlock_stops_has_to_be_said():
    with pytest.raises(ValidationError, match=r"stop\n.*required"):
        InterlockEffects.model_validate({"after": "5 s"})


@pytest.mark.parametrize("signal", ["beacon", "siren", "tell"])
def test_an_interlock_asks_for_what_is_not_there(signal):
    missing = {"beacon": "[beacon]", "siren": "[siren]", "tell": "[[tell]]"}[signal]
    loops = {"lid": {"stop": "hold"}, "leak": {"stop": "abort", signal: True}}
    assert refused(None, loops, **NOTHING) == (
        f"interlock[2].{signal} = true: there is no {missing} in these settings"
    )
    assert table(None, {"leak": {"stop": "abort", signal: False}}, **NOTHING)


# What the settings change.


def test_a_change_leaves_the_rest_of_its_row_and_every_other_row():
    made = table({"part lost": {"after": "20 s", "siren": True}, "whisker": {"stop": "hold"}})
    assert made.row("part lost") == Effects(Stop.HOLD, 20.0, beacon=True, siren=True, tell=True)
    assert made.row("whisker") == Effects(Stop.HOLD, 0.0, beacon=True, siren=False, tell=True)
    others = {c: row for c, row in made.rows.items() if c not in ("part lost", "whisker")}
    assert others == {c: row for c, row in table().rows.items() if c in others}


def test_a_stop_may_be_taken_away_where_the_run_can_go_on():
    made = table({"part lost": {"stop": "nothing", "tell": False}})
    assert made.row("part lost") == Effects(Stop.NOTHING, 0.0, beacon=True, tell=False)


@pytest.mark.parametrize(
    ("key", "missing", "there"),
    [
        ("beacon", "[beacon]", "has_beacon"),
        ("siren", "[siren]", "has_siren"),
        ("tell", "[[tell]]", "can_tell"),
    ],
)
def test_an_effect_that_nothing_is_there_for_is_refused(key, missing, there):
    said = refused({"part lost": {key: True}}, **{there: False})
    assert said == f'effects."part lost".{key} = true: there is no {missing} in these settings'
    assert table({"part lost": {key: False}}, **{there: False})
    assert table({"part lost": {key: True}}).row("part lost")


def test_a_delay_without_a_stop_is_refused():
    said = refused({"whisker": {"after": "5 s"}})
    assert said == 'effects.whisker.after = "5 s": there is no stop to put off'
    said = refused(None, {"filter pump": {"stop": "nothing", "after": "0 s"}})
    assert said == 'interlock[1].after = "0 s": there is no stop to put off'


@pytest.mark.parametrize("cause", sorted(MUST_STOP))
def test_a_run_never_goes_on_with_these(cause):
    key = f'effects."{cause}"'
    why = MUST_STOP[cause]
    said = refused({cause: {"stop": "nothing"}})
    assert said == f'{key}.stop = "nothing": {why}; allowed: hold, stop, abort'
    assert refused({cause: {"after": "1 min"}}) == (
        f'{key}.after = "60 s": {why}; this stop is not put off'
    )
    assert table({cause: {"stop": "hold", "after": "0 s"}}).row(cause).stop is Stop.HOLD


def test_these_are_the_causes_that_always_stop():
    assert set(MUST_STOP) == {
        "output did not stop", "reading lost", "device failed", "contactor fault",
    }  # fmt: skip


def test_a_cause_that_does_not_exist_is_refused_with_those_that_do():
    said = refused({"Part lots": {"stop": "hold"}})
    assert said.startswith(
        "effects.\"Part lots\": there is no such cause (did you mean 'part lost'?); causes are: "
    )
    assert all(cause in said for cause in CAUSES)
    assert "mean" not in refused({"xyz": {}})


@pytest.mark.parametrize("name", ["lid", "interlock: lid", "interlock: agitation"])
def test_an_interlock_is_not_set_among_the_causes(name):
    said = refused({name: {"stop": "nothing"}}, {"lid": {"stop": "hold"}})
    assert said.endswith(": what an interlock brings about stands in its [[interlock]]")


@pytest.mark.parametrize(
    "keys",
    [{"stop": "reset"}, {"siren": "yes"}, {"siren": 1}, {"after": 5}, {"after": "-5 s"},
     {"after": "5 A"}, {"horn": True}],
)  # fmt: skip
def test_keys_that_are_none_are_refused(keys):
    with pytest.raises(ValidationError):
        EffectsTable.model_validate(keys)


def test_the_table_cannot_be_changed_afterwards():
    with pytest.raises(TypeError):
        table().rows["short"] = Effects()
