"""What persons hand in for the record, kept in the asker's thread: settlements, proofs, sign-ins.

And whether what they were told is kept, which is waited for there too.
"""

from collections.abc import Callable

from daemon.api.socket.access import AccessRequest
from daemon.api.socket.messages import SettleRequest
from daemon.clock import Clock, to_ms
from daemon.record.entries import Audited, ProofMade, ProofStep
from daemon.record.entries import Settled as Word
from daemon.record.proofs import Proof
from daemon.record.writer import Writer
from daemon.service.cycle.runner import Settled


class Words:
    """Keeps them in the record of `writer`; `post` tells the loop what the bath's account has got.

    `newest_proof` is the last proof test that passed, None before there is one; `unsettled` are the
    runs of which nobody has said yet what passed while they were interrupted.

    Each method waits for the disk; all but the last raise sqlalchemy.exc.DatabaseError when it
    refuses.
    """

    def __init__(self, writer: Writer, post: Callable[[Settled], None], clock: Clock) -> None:
        self._writer = writer
        self.newest_proof = writer.newest_proof(passed=True)
        self.unsettled = writer.unsettled()
        self._post = post
        self._clock = clock

    def settle(self, request: SettleRequest) -> None:
        """A word on what passed in an interruption. Raises NotSettledError too."""
        word = Word(request.run, request.charge_ah, request.who, request.note, self._utc_ms())
        added_ah, _ = self._writer.settle(word)
        self.unsettled = tuple(run for run in self.unsettled if run != request.run)
        self._post(Settled(added_ah))

    def keep_proof(self, who: str, steps: tuple[ProofStep, ...]) -> int:
        """A proof test; its number."""
        made = ProofMade(self._utc_ms(), who, steps)
        number = self._writer.keep_proof(made)
        if made.passed:
            self.newest_proof = Proof(number, made)
        return number

    def access(self, request: AccessRequest) -> None:
        """Who has signed in on the page or has tried to, and what has changed of who may what."""
        asked = Audited(
            self._utc_ms(), request.who, request.where, request.ask, request.about, request.refused
        )
        self._writer.keep_audit(asked)

    def not_kept(self, limit_s: float) -> str | None:
        """Why what has happened until now is not on the disk within real s; None once it is."""
        if self._writer.wait_until_kept(limit_s):
            return None
        return self._writer.fault or f"the disk has not taken it within {limit_s:g} s"

    def _utc_ms(self) -> int:
        return to_ms(self._clock.utc())
