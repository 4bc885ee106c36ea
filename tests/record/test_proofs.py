"""Proof tests of the ways to stop: kept with every step, dated, by whom."""

from collections.abc import Callable
from typing import Any

import pytest

from daemon.record import proofs
from daemon.record.entries import ProofMade, ProofStep
from daemon.record.writer import Writer

Make = Callable[..., Any]

OPENS = ProofStep("contactor opens", "0.000 A within 0.5 s", "0.001 A after 0.2 s", True)
STAYS = ProofStep("supply switches off", "0.000 A within 0.5 s", "1.998 A after 0.5 s", False)


def test_a_proof_is_kept_with_its_steps(writer: Writer, ask: Make) -> None:
    assert writer.newest_proof() is None
    good = ProofMade(1000, "anna", (OPENS,))
    bad = ProofMade(2000, "ben", (OPENS, STAYS))
    ids = [writer.keep_proof(made) for made in (good, bad)]

    assert writer.newest_proof() == proofs.Proof(ids[1], bad)
    assert ask(proofs.newest, passed=True) == proofs.Proof(ids[0], good)
    assert ask(proofs.newest, passed=False) == proofs.Proof(ids[1], bad)
    assert ask(proofs.page, limit=1) == [proofs.Proof(ids[1], bad)]
    assert ask(proofs.page, before_id=ids[1]) == [proofs.Proof(ids[0], good)]


@pytest.mark.parametrize(
    ("steps", "passed"), [((OPENS,), True), ((OPENS, STAYS), False), ((), False)]
)
def test_a_proof_passes_when_every_step_does(steps: tuple[ProofStep, ...], passed: bool) -> None:
    assert ProofMade(0, "anna", steps).passed is passed
