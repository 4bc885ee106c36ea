"""Summaries against sums in exact fractions."""

from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.record.entries import Sample
from daemon.record.summary import Band, combine, nah, summarise

reading = st.none() | st.floats(0, 100)


@st.composite
def some_samples(draw: st.DrawFn) -> list[Sample]:
    steps = draw(st.lists(st.sampled_from([0.1, 0.5, 1.0, 4.75, 5.5, 60.0]), max_size=20))
    times = [0.0]
    for step in steps:
        times.append(times[-1] + step)
    return [
        Sample(1, t, draw(reading), draw(reading), draw(st.floats(0, 100)), t / 1000) for t in times
    ]


def exact_mean(times: list[float], values: list[float | None], own: int) -> tuple[Fraction, float]:
    """The mean and covered seconds by the definition; the last `own` values are the span's."""
    points = list(zip(times, values, strict=True))
    integral = covered = Fraction(0)
    for (t0, x0), (t1, x1) in pairwise(points):
        if x0 is not None and x1 is not None and t1 - t0 <= 5:
            step = Fraction(t1) - Fraction(t0)
            integral += (Fraction(x0) + Fraction(x1)) / 2 * step
            covered += step
    if covered:
        return integral / covered, float(covered)
    present = [Fraction(v) for v in values[-own:] if v is not None]
    return sum(present, Fraction(0)) / len(present), 0.0


@given(some_samples(), st.booleans())
def test_bands_are_those_of_the_definition(samples: list[Sample], has_before: bool) -> None:
    has_before = has_before and len(samples) > 1
    before, own = (samples[0], samples[1:]) if has_before else (None, samples)
    summary = summarise(own, before)

    for field, band in (
        ("current_a", summary.current),
        ("voltage_v", summary.voltage),
        ("set_current_a", summary.set_current),
    ):
        present = [getattr(s, field) for s in own if getattr(s, field) is not None]
        if not present:
            assert band == Band(None, None, None, 0.0)
            continue
        mean, covered_s = exact_mean(
            [s.elapsed_s for s in samples], [getattr(s, field) for s in samples], len(own)
        )
        assert (band.least, band.greatest) == (min(present), max(present))
        assert band.mean == pytest.approx(float(mean), rel=1e-12, abs=1e-12)
        assert band.covered_s == pytest.approx(covered_s, rel=1e-12)
    assert (summary.samples, summary.first_s, summary.last_s) == (
        len(own),
        own[0].elapsed_s,
        own[-1].elapsed_s,
    )


def test_an_irregular_span_weighs_by_time_and_not_by_number() -> None:
    slow = [Sample(1, t, 1.0, None, 1.0, 0.0) for t in (0.0, 4.5, 9.0)]
    quick = [Sample(1, 9.0 + k / 10, 3.0, None, 3.0, 0.0) for k in range(1, 11)]

    # 9 s at 1 A, 0.1 s from 1 to 3 A, 0.9 s at 3 A: (9 + 0.2 + 2.7) / 10
    assert summarise([*slow, *quick], None).current.mean == pytest.approx(1.19)


@given(st.lists(st.floats(0, 50), min_size=3, max_size=40), st.data())
def test_mean_times_covered_time_is_the_charge_of_the_span(
    currents: list[float], data: st.DataObject
) -> None:
    charge_ah = Fraction(0)
    samples = []
    for k, current in enumerate(currents):
        if k:
            charge_ah += (Fraction(current) + Fraction(currents[k - 1])) / 2 / 3600
        samples.append(Sample(1, float(k), current, 1.0, current, float(charge_ah)))
    cut = data.draw(st.integers(1, len(samples) - 1))
    own, before = samples[cut:], samples[cut - 1]
    summary = summarise(own, before)

    assert summary.current.mean is not None
    assert summary.current.mean * summary.current.covered_s / 3600 == pytest.approx(
        own[-1].charge_ah - before.charge_ah, rel=1e-9, abs=1e-12
    )


@given(some_samples(), st.data())
def test_spans_together_are_the_span_of_all(samples: list[Sample], data: st.DataObject) -> None:
    cut = data.draw(st.integers(0, len(samples) - 1))
    parts = [summarise(samples[cut:], samples[cut - 1] if cut else None)]
    if cut:
        parts.insert(0, summarise(samples[:cut], None))
    whole, together = summarise(samples, None), combine(parts)

    assert (together.samples, together.first_s, together.last_s) == (
        whole.samples,
        whole.first_s,
        whole.last_s,
    )
    assert together.charge_nah == whole.charge_nah
    assert together.current.least == whole.current.least
    assert together.voltage.greatest == whole.voltage.greatest
    assert together.current.covered_s == pytest.approx(whole.current.covered_s)
    if whole.current.covered_s:
        assert together.current.mean == pytest.approx(whole.current.mean, rel=1e-9, abs=1e-9)


def test_nothing_has_no_summary() -> None:
    with pytest.raises(ValueError, match="no"):
        summarise([], None)
    with pytest.raises(ValueError, match="no summaries"):
        combine([])


def test_charge_is_posted_in_whole_nano_ampere_hours() -> None:
    assert nah(0.000_000_001_4) == 1
    assert nah(123.456_789_012_3) == 123_456_789_012
