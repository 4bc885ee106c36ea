"""A plan's tables written as a file, and a file taken apart: nothing is lost on the way."""

import tomllib
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from daemon.api.explain import read_toml
from daemon.api.plans.file import PlanFile
from daemon.api.plans.kept import name_of, plan_name
from daemon.api.plans.text import plan_text, typed_of

LAMP_FOOT = Path("daemon/service/examples/lamp_foot.toml").read_text("utf-8")

# Whatever can stand in a field: no line ends, which a form's fields do not have.
typed = st.text(st.characters(exclude_categories=("Cs", "Cc")), min_size=1, max_size=30)
stages = st.fixed_dictionaries(
    {"name": typed, "current": typed},
    optional={
        "ramp": typed,
        "until": st.dictionaries(st.sampled_from(["charge", "duration"]), typed, min_size=1),
    },
)
trees = st.fixed_dictionaries(
    {"title": typed, "target": typed, "stage": st.lists(stages, min_size=1, max_size=3)},
    optional={
        "area": typed,
        "copies": st.integers(0, 99),
        "caps": st.fixed_dictionaries({"charge": typed}),
    },
)


@given(trees)
def test_what_is_written_is_what_is_read(tree):
    assert tomllib.loads(plan_text(tree)) == tree


def test_a_plan_is_the_same_after_a_form_had_it():
    tree = tomllib.loads(LAMP_FOOT)
    again = plan_text(tree)
    assert read_toml(again, "again", PlanFile) == read_toml(LAMP_FOOT, "file", PlanFile)
    told = typed_of(LAMP_FOOT)
    assert told["title"] == "Lamp foot, 25 µm"
    assert told["stage[1].until.duration"] == "40 min"
    assert told["caps.charge"] == "4 Ah"


@given(st.text(max_size=120))
def test_every_title_makes_a_name(title):
    name = name_of(title)
    assert plan_name(name) == name


def test_names_stay_readable():
    assert name_of("Lamp foot, 25 µm") == "Lamp-foot,-25-µm"
    assert name_of("../../etc/passwd") == "etc-passwd"
    assert name_of("<b>") == "b"
    assert name_of("///") == "plan"
