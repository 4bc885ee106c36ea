"""What has to be seen, and for how long, before a cause is believed. All of it can be set.

Where no source is named, a value is a choice: far from what a sound tank shows in the simulation,
and quick enough for what the fault can do. Delays are seconds between readings, so that a value
holds whatever the period of the readings is.
"""

from dataclasses import dataclass, replace

ZERO_A = 0.02
"""A. A current below this is none: the idle ammeter of a bench supply flickers by a digit or two
(common practice)."""

OVER_SHARE = 0.10
"""Of the current asked for. Meter and set-point of a bench supply agree within some percent."""

OVER_LEAST_A = 0.1
"""A. On top of the share: steps and offsets of meters weigh most where the current is small."""

OVER_DOSE_S = 0.1
"""s at twice what is allowed; five times as long at 20 % above it: inverse time, as of a fuse."""

OVER_OFF_S = 1.0
"""s within what is allowed, after which an over-current is gone."""

COME_DOWN_S = 10.0
"""s that a slow supply may take from a greater set-point down to nothing."""

SPIKE_SHARE = 0.5
"""Of the current asked for: beyond the peaks of 10 % rms ripple, which are 14 %, and of noise."""

SPIKE_LEAST_A = 0.3
"""A. On top of the share, see `OVER_LEAST_A`."""

SPIKE_AFTER_S = 1.0
"""s after output on without a spike: the supply's output capacitor discharges into the cell."""

SPIKE_OFF_S = 1.0
"""s without a spike after which it is gone."""

SHORT_SHARE = 0.6
"""Of the least that the cell's voltage can be, by what was seen some seconds before. Whiskers take
5 to 30 % of it (common practice), paint that is being covered does so over minutes; a short takes
all but the drop on the leads, which at several amperes may be half of it."""

SHORT_V = 0.2
"""V. With `SHORT_LEADS_OHM` the most that is left across leads and a short, see there."""

SHORT_LEADS_OHM = 0.15
"""Ω of leads and short together: 0.35 V at 1 A, 0.95 V at 5 A. A hard short leaves the drop on the
leads, below 0.3 V on a small tank (common practice)."""

SHORT_LEAST_V = 0.1
"""V that a cell has to have at the least for its fall to be told: noise and offset of a voltmeter
are as great as the voltage of a cell that hardly works."""

LEAD_OHM = 0.06
"""Ω. What leads and a hard short have together: less is a short even in a cell never seen sound."""

CELL_OHM_DM2 = 0.15
"""Ω·dm². The least between electrodes 5 cm apart in a bath of 0.33 S/cm: a large cell has less than
`LEAD_OHM` while it is sound."""

LEAD_DROP_LEAST_V = 0.02
"""V. A drop on the leads below this cannot be told from a voltmeter's offset."""

SHORT_ON_S = 0.3
"""s. A part that swings may touch for a moment; a short that stays puts nothing on the part."""

SHORT_OFF_S = 1.0
"""s with the voltage back after which a short is gone."""

SHORT_TIMES = 5.0
"""Times what the cell conducted some seconds before, at the same voltage. Whiskers make 1.4 times
of it at the most (30 % of the voltage, common practice), a short of 5 % of the cell's resistance
makes 20."""

SHORT_BEST_TIMES = 2.0
"""Times the best that the cell has conducted since output on: a bad contact that closes leads back
to that, and to somewhat more at a greater current, as electrodes conduct better then."""

SHORT_KNOWN_S = 10.0
"""s of current before what a cell conducted says anything: parts may be hung with the current on
(live entry, common practice), and the current grows as they go in."""

SHORT_START_S = 3.0
"""s after output on in which a cell never seen sound is not judged: its voltage may be read by
another device than its current, and later."""

OPEN_ON_S = 0.5
"""s without current in a circuit that was closed: a contact may flicker."""

OPEN_START_S = 60.0
"""s without current in a circuit that was not seen closed since output on: resistive paint may let
next to nothing through at first."""

OPEN_OFF_S = 2.0
"""s with current after which the circuit is closed again."""

DROPPED_V = 0.1
"""V. Together with no current: less than any output that is on shows on an open circuit, and more
than two copper electrodes give by themselves."""

DROPPED_ON_S = 0.5
"""s. Output state, current and voltage of one moment may be read one after the other."""

DROPPED_START_S = 3.0
"""s that an output may take to come on, relay and soft start included. Also how long the supply's
word alone, where the current is too small to tell, has to last."""

CEILING_SHARE = 0.02
"""Of the voltage ceiling: closer to it the supply holds the voltage and not the current."""

CEILING_LEAST_V = 0.05
"""V. On top of the share, for the voltmeter's offset."""

CEILING_ON_S = 300.0
"""s at the ceiling without the current growing: a painted part takes minutes to be covered, and
its current grows with the copper."""

CEILING_GROWTH_SHARE = 0.05
"""By how much the current has to grow within `CEILING_ON_S` for the part to be on its way."""

CEILING_OFF_S = 30.0
"""s away from the ceiling, or with the full current, after which all is well."""

OFF_PLAN_SHARE = 0.05
"""Of the current asked for: what set-point and meter together may be off by, with room."""

OFF_PLAN_LEAST_A = 0.05
"""A. On top of the share, see `OVER_LEAST_A`."""

OFF_PLAN_DOSE_S = 20.0
"""s without any current; ten times as long at a tenth too little: slow supplies and ramps pass."""

OFF_PLAN_OFF_S = 20.0
"""s at the plan's current after which all is well."""

FROZEN_CHANGE_SHARE = 0.05
"""Of the set-point: a change that every meter shows."""

FROZEN_CHANGE_A = 0.05
"""A. On top of the share: five steps of a coarse meter."""

FROZEN_MOVED_S = 3.0
"""s after such a change within which some value has to move."""

FROZEN_CALM_S = 60.0
"""s without any flicker of a meter that flickered all the time."""

FROZEN_CALM_RUNS = 20
"""Times the longest run of equal readings that this meter has shown before."""

FROZEN_LEAST_READINGS = 30
"""Readings in such a run: at even odds for each to repeat by chance, one in 10⁹ of such runs."""

FROZEN_LEARN_CHANGES = 50
"""Changes of current and of voltage each, before anything is known of a meter's flicker."""

FROZEN_RESTLESS_SHARE = 0.25
"""Of the changes by two steps and more, from where on a meter's noise moves it wherever between
two steps the true value lies: about one step of noise, standard deviation. A calm meter changes
by one step at a time, and may then rest for hours."""

BATH_HOT_C = 30.0
"""°C. Bright acid copper baths are kept below (Metal Finishing, copper plating)."""

BATH_COLD_C = 18.0
"""°C. The least at which acid copper is workable (Metal Finishing, copper plating)."""

BATH_DEADBAND_K = 0.5
"""K. A bath that is back by this much is back: more than a thermometer flickers."""

BATH_ON_S = 60.0
"""s. A bath takes minutes to change; a hand on the thermometer does not last."""

THERMOMETER_LOST_S = 60.0
"""s without a value. A bath takes longer to change by 0.1 °C."""

RECORD_BEHIND_S = 30.0
"""s that readings wait for the disk: beyond what a card takes to clean up (common practice)."""

RECORD_BACK_S = 5.0
"""s of waiting below which the record is up to date."""

DISK_LEAST_MB = 200.0
"""MB free: some months of nights, and room for the system's own logs."""

DISK_BACK_SHARE = 0.1
"""By how much more there has to be for the disk to have room again."""

CLOCK_STEPPED_S = 60.0
"""s for which a step of the wall clock stands: it has no end of its own."""

RIPPLE_PERCENT = 10.0
"""% rms. For acid copper "adjust AC ripple to below 10 %" (Metal Finishing Guidebook, 2013, trouble
table), which is taken as rms here."""

RIPPLE_BACK_PERCENT = 8.0
"""% rms below which it is no longer high."""

RIPPLE_ON_S = 45.0
"""s: two looks, a minute apart. At the start of a ramp there is little current to compare with."""

RIPPLE_OLD_S = 150.0
"""s after which a look is from before the last hold: two and a half times that minute."""


@dataclass(frozen=True, slots=True)
class Thresholds:
    """Every threshold; the constant beside each says why it is what it is."""

    zero_a: float = ZERO_A
    over_share: float = OVER_SHARE
    over_least_a: float = OVER_LEAST_A
    over_dose_s: float = OVER_DOSE_S
    over_off_s: float = OVER_OFF_S
    come_down_s: float = COME_DOWN_S
    spike_share: float = SPIKE_SHARE
    spike_least_a: float = SPIKE_LEAST_A
    spike_after_s: float = SPIKE_AFTER_S
    spike_off_s: float = SPIKE_OFF_S
    short_share: float = SHORT_SHARE
    short_v: float = SHORT_V
    short_leads_ohm: float = SHORT_LEADS_OHM
    short_least_v: float = SHORT_LEAST_V
    lead_ohm: float = LEAD_OHM
    cell_ohm_dm2: float = CELL_OHM_DM2
    lead_drop_least_v: float = LEAD_DROP_LEAST_V
    short_on_s: float = SHORT_ON_S
    short_off_s: float = SHORT_OFF_S
    short_times: float = SHORT_TIMES
    short_best_times: float = SHORT_BEST_TIMES
    short_known_s: float = SHORT_KNOWN_S
    short_start_s: float = SHORT_START_S
    open_on_s: float = OPEN_ON_S
    open_start_s: float = OPEN_START_S
    open_off_s: float = OPEN_OFF_S
    dropped_v: float = DROPPED_V
    dropped_on_s: float = DROPPED_ON_S
    dropped_start_s: float = DROPPED_START_S
    ceiling_share: float = CEILING_SHARE
    ceiling_least_v: float = CEILING_LEAST_V
    ceiling_on_s: float = CEILING_ON_S
    ceiling_growth_share: float = CEILING_GROWTH_SHARE
    ceiling_off_s: float = CEILING_OFF_S
    off_plan_share: float = OFF_PLAN_SHARE
    off_plan_least_a: float = OFF_PLAN_LEAST_A
    off_plan_dose_s: float = OFF_PLAN_DOSE_S
    off_plan_off_s: float = OFF_PLAN_OFF_S
    frozen_change_share: float = FROZEN_CHANGE_SHARE
    frozen_change_a: float = FROZEN_CHANGE_A
    frozen_moved_s: float = FROZEN_MOVED_S
    frozen_calm_s: float = FROZEN_CALM_S
    frozen_calm_runs: float = FROZEN_CALM_RUNS
    frozen_least_readings: int = FROZEN_LEAST_READINGS
    frozen_learn_changes: int = FROZEN_LEARN_CHANGES
    frozen_restless_share: float = FROZEN_RESTLESS_SHARE
    bath_hot_c: float = BATH_HOT_C
    bath_cold_c: float = BATH_COLD_C
    bath_deadband_k: float = BATH_DEADBAND_K
    bath_on_s: float = BATH_ON_S
    thermometer_lost_s: float = THERMOMETER_LOST_S
    record_behind_s: float = RECORD_BEHIND_S
    record_back_s: float = RECORD_BACK_S
    disk_least_mb: float = DISK_LEAST_MB
    disk_back_share: float = DISK_BACK_SHARE
    clock_stepped_s: float = CLOCK_STEPPED_S
    ripple_percent: float = RIPPLE_PERCENT
    ripple_back_percent: float = RIPPLE_BACK_PERCENT
    ripple_on_s: float = RIPPLE_ON_S
    ripple_old_s: float = RIPPLE_OLD_S

    def of_meter(self, zero_a: float) -> "Thresholds":
        """The thresholds for a counting meter on which a current below `zero_a` is none.

        On a coarser one than usual every threshold in amperes is as much greater.
        """
        scale = max(1.0, zero_a / ZERO_A)
        return replace(
            self,
            zero_a=max(self.zero_a, zero_a),
            over_least_a=scale * self.over_least_a,
            spike_least_a=scale * self.spike_least_a,
            off_plan_least_a=scale * self.off_plan_least_a,
            frozen_change_a=scale * self.frozen_change_a,
        )
