"""What the detectors that learn the cell need to see before they believe it. All of it can be set.

Shares are of the cell's voltage at the same current, as differences of natural logarithms: 0.05 is
5 %. Where no source is named, a value is a choice, held against the detection campaign. Times are
seconds between readings, so that a value holds whatever the period of the readings is.
"""

from dataclasses import dataclass, replace

from daemon.control.protection.detectors.thresholds import ZERO_A

LEAST_V = 0.05
"""V. Offset and noise of a voltmeter are as great as a voltage below this."""

BLOCK_S = 1.0
"""s of readings that are taken together: part of the noise is gone, and little of what happens."""

SETTLE_S = 5.0
"""s after output on or a jump of the set-point: slow supplies take seconds to get there, and so
does the layer of spent bath before the parts (common practice)."""

JUMP_SHARE_PER_S = 0.03
"""1/s. A set-point that moves faster than this jumps. Slower ramps are watched on their way."""

EXPONENT = 0.8
"""The voltage goes with the current to this power: 1 for a bath that is all resistance, less by
what the electrodes need, which goes with the current's logarithm (Tafel)."""

EXPONENT_U = 0.15
"""Standard uncertainty of the exponent before anything is known of the cell, and after long."""

EXPONENT_LEAST_U = 0.1
"""Standard uncertainty that stays: the exponent itself changes along the curve."""

STEP_SIDE = 4
"""Blocks on each side of a step that are compared."""

STEP_SIGMAS = 6.0
"""Standard deviations of noise that a step has to stand out by: one in 10⁹ by chance, at some
10⁴ looks a night."""

STEP_LEARN = 40
"""Blocks over which noise is averaged: its standard deviation is known to some 10 % then."""

STEP_APART = 0.55
"""Of a step: what has to lie between all blocks before and all blocks after. On a slope it is 0.4
at the most, however steep: so neither paint that is being covered nor a ramp looks like a step.
Where a steep one begins at once, after none, it is 2 of 3.5 blocks' rise, 0.57: that does."""

PART_LEAST = 0.02
"""One of 20 parts is 2.5 to 5 % of the voltage. Below lie changes of agitation (common
practice)."""

PART_ON_S = 10.0
"""s. A part that swings or a hook that slips is back by then."""

WHISKER_LEAST = 0.035
"""Whiskers take 5 to 30 % of the voltage (common practice), and jump."""

WHISKER_ON_S = 5.0
"""s that a whisker has to last: less burns off by itself."""

STEP_BACK = 0.5
"""Of a step: with less than this left of it, it is gone."""

RESTLESS_S = 4.0
"""s over which restlessness is averaged, or five readings where they are further apart."""

RESTLESS_LEARN_S = 300.0
"""s over which the usual restlessness is learned."""

RESTLESS_TIMES = 2.5
"""Times the usual restlessness. By chance a handful of readings comes to that once in some nights;
a mean that is up, and that lasts, is asked for as well."""

RESTLESS_LEAST = 0.01
"""Below this a flickering contact warms nothing: 10 mW at 1 V and 1 A."""

CONTACT_UP = 0.25
"""Of the restlessness: what the mean voltage has to be up by. A contact only adds resistance, a
noisy meter adds none."""

CONTACT_ON_S = 8.0
"""s of restlessness: somebody who works at the tank moves the hooks for a moment, and a supply
that is slow to find its new current after a step takes some."""

CONTACT_OFF_S = 60.0
"""s of quiet, after which a contact is good again: bad ones come and go."""

WHISKER_OFF_S = 60.0
"""s with the conductance back, after which a whisker is gone even if no step led there."""

DRIFT_S = 60.0
"""s over which the slow level is averaged."""

DRIFT_RISE = 0.15
"""By so much a polarising anode has to outrun what the bath's temperature may do."""

DRIFT_BACK = 0.10
"""With less than this left of the rise it is over."""

DRIFT_BATH_PER_H = 0.10
"""1/h. A bath that cools by 5 K in an hour loses 1.5 to 2 % of its conductivity with each."""

DRIFT_BATH_MOST = 0.25
"""All that the bath may do in a night: some 12 K."""

DRIFT_ON_S = 60.0
"""s of a rise before it is told."""

DRIFT_OFF_S = 300.0
"""s after which a drift is over."""


@dataclass(frozen=True, slots=True)
class CellThresholds:
    """Every threshold; the constant beside each says why it is what it is."""

    zero_a: float = ZERO_A
    least_v: float = LEAST_V
    block_s: float = BLOCK_S
    settle_s: float = SETTLE_S
    jump_share_per_s: float = JUMP_SHARE_PER_S
    exponent: float = EXPONENT
    exponent_u: float = EXPONENT_U
    exponent_least_u: float = EXPONENT_LEAST_U
    step_side: int = STEP_SIDE
    step_sigmas: float = STEP_SIGMAS
    step_learn: int = STEP_LEARN
    step_apart: float = STEP_APART
    part_least: float = PART_LEAST
    part_on_s: float = PART_ON_S
    whisker_least: float = WHISKER_LEAST
    whisker_on_s: float = WHISKER_ON_S
    whisker_off_s: float = WHISKER_OFF_S
    step_back: float = STEP_BACK
    restless_s: float = RESTLESS_S
    restless_learn_s: float = RESTLESS_LEARN_S
    restless_times: float = RESTLESS_TIMES
    restless_least: float = RESTLESS_LEAST
    contact_up: float = CONTACT_UP
    contact_on_s: float = CONTACT_ON_S
    contact_off_s: float = CONTACT_OFF_S
    drift_s: float = DRIFT_S
    drift_rise: float = DRIFT_RISE
    drift_back: float = DRIFT_BACK
    drift_bath_per_h: float = DRIFT_BATH_PER_H
    drift_bath_most: float = DRIFT_BATH_MOST
    drift_on_s: float = DRIFT_ON_S
    drift_off_s: float = DRIFT_OFF_S

    def of_meter(self, zero_a: float) -> "CellThresholds":
        """The thresholds for a counting meter on which a current below `zero_a` is none."""
        return replace(self, zero_a=max(self.zero_a, zero_a))
