"""The plan by which a proof test's current flows."""

from daemon.chemistry.electrolysis import um_per_ah
from daemon.chemistry.metals import metal_named

TITLE = "Proof test"

LONGEST_H = 2.0
"""h after which the proof's run ends by itself, whatever becomes of the walk."""

_HEAD = f'title = "{TITLE}"\n'
_NAMED = 'name = "proof"\n'

MARKS = (_HEAD, _NAMED)
"""Texts that every such plan holds, by which its runs are found in the record."""

_PLAN = """\
area = "{area_dm2:.6g} dm²"
target = "10 µm"
voltage_ceiling = "{ceiling_v:.6g} V"
caps = {{ charge = "{cap_ah:.6g} Ah", duration = "{cap_h:g} h" }}
[[stage]]
name = "proof"
current = "{current_a:.6g} A"
"""


def proof_plan(current_a: float, ceiling_v: float) -> str:
    """A plan's text that keeps `current_a`, A, flowing below `ceiling_v`, V, for `LONGEST_H`."""
    growth = um_per_ah(metal_named("Cu(II)"), 1.0, 1.0)
    return _HEAD + _PLAN.format(
        area_dm2=growth * current_a * LONGEST_H / 10.0,
        ceiling_v=ceiling_v,
        cap_ah=2 * current_a * LONGEST_H,
        cap_h=2 * LONGEST_H,
        current_a=current_a,
    )


def is_proof(plan: str) -> bool:
    """Whether a run by this plan's text was a proof test's: nothing is to be gone on with."""
    return plan.startswith(_HEAD) and _NAMED in plan
