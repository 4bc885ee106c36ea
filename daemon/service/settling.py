"""A person's word on what passed in an interruption: kept, and told to the loop."""

from collections.abc import Callable

from daemon.api.messages import SettleRequest
from daemon.clock import Clock
from daemon.record.entries import Settled as Word
from daemon.service.runner import Settled
from daemon.service.scribe import to_ms


def settler(
    keep: Callable[[Word], tuple[float, float]], post: Callable[[Settled], None], clock: Clock
) -> Callable[[SettleRequest], None]:
    """What the control socket calls with such a request, in the asker's thread.

    `keep` is the record's, and waits for the disk; `post` goes to the loop. Raises NotSettledError,
    and sqlalchemy.exc.DatabaseError when the disk refuses.
    """

    def settle(request: SettleRequest) -> None:
        word = Word(request.run, request.charge_ah, request.who, request.note, to_ms(clock.utc()))
        added_ah, _ = keep(word)
        post(Settled(added_ah))

    return settle
