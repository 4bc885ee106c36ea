"""Who may what on the page: the right that each of its addresses needs.

What takes the current away needs none: whoever reaches the page may press it, whatever else stands
against them, a session that has run out in the night included.
"""

from collections.abc import Mapping
from enum import Enum

from flask import Request

SAFE = ("GET", "HEAD", "OPTIONS")
"""Methods that change nothing."""


class Right(Enum):
    """What somebody has to be: just there, somebody who may look, or a signed-in operator."""

    ANYONE = "anyone"
    READ = "read"
    OPERATE = "operate"


PRESSES: Mapping[str, Right] = {
    "act stop": Right.ANYONE,
    "act abort": Right.ANYONE,
    "act hold": Right.ANYONE,
    "proof_end": Right.ANYONE,
    "sign_in_try": Right.ANYONE,
    "sign_out": Right.ANYONE,
    "act": Right.OPERATE,
    "attend": Right.OPERATE,
    "settle": Right.OPERATE,
    "go_on": Right.OPERATE,
    "dose": Right.OPERATE,
    "enter_keep": Right.OPERATE,
    "account_correct": Right.OPERATE,
    "account_withdraw": Right.OPERATE,
    "analysis_keep": Right.OPERATE,
    "makeup_keep": Right.OPERATE,
    "mixed_keep": Right.OPERATE,
    "top_up_keep": Right.OPERATE,
    "part_work": Right.OPERATE,
    "part_keep": Right.OPERATE,
    "weigh_keep": Right.OPERATE,
    "proof_begin": Right.OPERATE,
    "proof_answer": Right.OPERATE,
    "rehearsed": Right.OPERATE,
    "point": Right.OPERATE,
    "drop": Right.OPERATE,
    "keep": Right.OPERATE,
}
"""Every press by its endpoint; of the acts on a run those that differ by their names too."""

LOOKS: Mapping[str, Right] = {"sign_in": Right.ANYONE, "asset": Right.ANYONE}
"""What may be looked at by those who may not read."""

PIECES = frozenset({"status", "details", "chart", "alarms", "part_picture", "mesh_picture"})
"""What scripts and pages fetch by themselves: no look of a person, and nothing to sign in from."""


def needed(asked: Request) -> Right:
    """The right that a request needs. A press that is not in the table is for operators only."""
    endpoint = asked.endpoint or ""
    if asked.method in SAFE:
        return LOOKS.get(endpoint, Right.READ)
    named = f"{endpoint} {(asked.view_args or {}).get('ask', '')}"
    return PRESSES.get(named, PRESSES.get(endpoint, Right.OPERATE))
