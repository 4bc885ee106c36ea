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
    """What somebody has to be: just there, somebody who may look, or a signed-in operator.

    ACKNOWLEDGE is for machines only: an operator may all.
    """

    ANYONE = "anyone"
    READ = "read"
    ACKNOWLEDGE = "acknowledge"
    OPERATE = "operate"


API = "api"
"""The name of the HTTP API, with which its endpoints begin."""

PREFIX = "/api/v1"
"""Before the paths of all operations. What a program relies on changes with this number only."""


PRESSES: Mapping[str, Right] = {
    "act stop": Right.ANYONE,
    "act abort": Right.ANYONE,
    "act hold": Right.ANYONE,
    "proof_end": Right.ANYONE,
    "sign_in_try": Right.ANYONE,
    "sign_out": Right.ANYONE,
    "units": Right.ANYONE,
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
    "plan_check": Right.OPERATE,
    "plan_started": Right.OPERATE,
    "plan_keep": Right.OPERATE,
    "plan_deleted": Right.OPERATE,
    "point": Right.OPERATE,
    "drop": Right.OPERATE,
    "keep": Right.OPERATE,
    "api.stop": Right.ANYONE,
    "api.abort": Right.ANYONE,
    "api.hold": Right.ANYONE,
    "api.start": Right.OPERATE,
    "api.resume": Right.OPERATE,
    "api.reset": Right.OPERATE,
    "api.acknowledge": Right.ACKNOWLEDGE,
    "api.acknowledge_all": Right.ACKNOWLEDGE,
    "api.shelve": Right.OPERATE,
    "api.unshelve": Right.OPERATE,
}
"""Every press by its endpoint; of the acts on a run those that differ by their names too."""

LOOKS: Mapping[str, Right] = dict.fromkeys(
    ("sign_in", "asset", "manifest", "worker", "offline"), Right.ANYONE
)
"""What may be looked at by those who may not read."""

PIECES = frozenset(
    {
        "status", "details", "chart", "alarms", "part_picture", "mesh_picture",
        "manifest", "worker", "offline",
    }
)  # fmt: skip
"""What scripts and pages fetch by themselves: no look of a person, and nothing to sign in from."""


def is_piece(endpoint: str | None) -> bool:
    """Whether nobody looks at it as a page: what scripts, pages and programs fetch."""
    return endpoint is not None and (endpoint in PIECES or endpoint.startswith(f"{API}."))


def right_of(endpoint: str, method: str, ask: str = "") -> Right:
    """The right that an endpoint needs. A press that is not in the table is for operators only."""
    if method in SAFE:
        return LOOKS.get(endpoint, Right.READ)
    return PRESSES.get(f"{endpoint} {ask}", PRESSES.get(endpoint, Right.OPERATE))


def needed(asked: Request) -> Right:
    """The right that a request needs."""
    return right_of(asked.endpoint or "", asked.method, (asked.view_args or {}).get("ask", ""))
