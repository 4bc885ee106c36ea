"""What has to hold all through a night, held against the tank's own truth after every cycle.

1  After a trip the current is gone within its time, or "output did not stop" is sounding.
2  The charge recorded is the tank's, within the stated interval.
3  Nothing committed is lost.
4  Each alarm has one cause, one record, one close-up.
5  Caps are never passed.
6  Nothing plates outside running states.
7  Nothing resumes by itself against the settings.
8  An exact second computation comes to the same charge and summaries (`exact`, `again`).
"""

from collections import Counter
from math import hypot, inf, sqrt

from daemon.chemistry.uncertainty import Shape
from daemon.control.doubt import charge_doubt
from daemon.control.protection.causes import CURRENT_WITHOUT_RUN, OUTPUT_DID_NOT_STOP
from daemon.control.states import PLATING, State
from daemon.record.entries import AlarmRaised, RunOpened
from daemon.service.devices.pins import RENEW_S
from night import again, kept
from night.ledger import AlarmLedger

STILL_ON = (OUTPUT_DID_NOT_STOP, CURRENT_WITHOUT_RUN)
NORMALS = 5.0
"""Standard uncertainties of what is normal: by chance 1 in 1.7 million readings goes further."""

SHOWN_S = RENEW_S + 0.2
"""s after which a siren that was mended is on again."""

COMMIT_S = 1.0
"""s of entries that a death may cost."""


def limit_ah(run, count):
    """How far the counted charge can be from the truth by what it states of itself, A·h.

    Every limit of a maker at its end, and what is normal at five standard uncertainties; without
    gaps, whose bounds stand beside it.
    """
    shares = charge_doubt(run, count).shares
    flat = sum(sqrt(3.0) * share.u for share in shares if share.shape is Shape.FLAT)
    normal = hypot(*(share.u for share in shares if share.shape is Shape.NORMAL))
    return flat + NORMALS * normal + 1e-6


class Checks:
    """Looks on, and notes what is broken, with its number, the moment, and what was seen.

    `excused` counts what no invariant can ask for: a lie that nobody can see through.
    """

    def __init__(self, world):
        self._world = world
        self.found = []
        self.notes = []
        self.excused = Counter()
        self.counts = Counter()
        self.settled_ah = 0.0
        self.lives = []
        self._active = []
        self._deadlines = []
        self._disobeyed_s = self._wild_s = self._broke_s = -inf
        self._lied_s = -inf
        self._disk_ill_s = self._siren_ill_s = -inf
        self._starts = {}
        self._limits = {}
        self._dead_s, self._how, self._guard_works = inf, "", False
        self._forget()

    def _forget(self):
        self._state = None
        self._plated = False
        self._flow_from_s = None
        self._seen_from_s, self._blind = -inf, False
        self._aborts = False
        self._run = None
        self._last_s = None
        self._before = None
        self._excess_ah = self._shortfall_ah = 0.0
        self._most_a = 0.0
        self._ran_on = False
        self._alarms = AlarmLedger(self.broken)
        self._counted = 0

    # What is told of.

    def broken(self, number, text):
        """An invariant does not hold."""
        if sum(1 for each in self.found if each[0] == number) < 3:
            self.found.append((number, round(self._world.clock.now_s, 3), text))

    def note(self, text):
        """Something that a reader of one night wants to know."""
        self.notes.append((round(self._world.clock.now_s, 3), text))

    def begun(self, fault, lasts_s):
        """A fault begins now."""
        world = self._world
        self.counts[fault.name] += 1
        self.note(f"begins: {fault.name}, for {lasts_s:.1f} s")
        daemon = world.daemon
        self._active.append(fault)
        if fault.within_s is None or daemon is None:
            return
        situation = daemon.loop.situation
        plates = situation.state in PLATING and situation.wind_down is None
        if plates and world.supply.true_a() > 2.0 * world.night.gone_a:
            within_s = fault.within_s(daemon.limits) + self._slack_s()
            due_s = world.clock.now_s + within_s
            if lasts_s > within_s:
                self._deadlines.append((due_s, fault, situation.run.run_id))
                world.at(due_s, lambda: None)

    def ended(self, fault):
        """Somebody has mended it."""
        self.note(f"ends: {fault.name}")
        self._active.remove(fault)
        self._mark()

    def _mark(self):
        now_s = self._world.clock.now_s
        if any(fault.disobeys for fault in self._active):
            self._disobeyed_s = now_s
        if any(fault.group in ("tank", "supply", "pins") for fault in self._active):
            self._wild_s = now_s
        if any(fault.blinds for fault in self._active):
            self._lied_s = now_s
        if self._world.siren.broken:
            self._siren_ill_s = now_s
        if self._world.the_disk.state != "well":
            self._disk_ill_s = now_s

    # After each cycle.

    def cycle(self, situation):
        """Everything that can be judged after any cycle."""
        world = self._world
        self._mark()
        plates = situation.state in PLATING and situation.wind_down is None
        granted = world.people.granted()
        if plates and not self._plated and not granted:
            self.broken(7, f"{situation.state.value} without anybody's act")
        if situation.run is not self._run:
            self._begin_run(situation)
        self._see_charge(situation)
        self._see_flow(situation, plates)
        self._alarms.see(situation.alarms)
        if self._deadlines:
            self._see_deadlines(situation, plates)
        if situation.state is not self._state:
            self._state = situation.state
            self.note(f"{situation.state.value}: {situation.reason}")
        self._plated = plates

    def _begin_run(self, situation):
        run = self._run = situation.run
        if run is None:
            return
        world = self._world
        self.counts["runs"] += 1
        start = (world.supply.true_ah(), world.counting_head.lied_as / 3600.0)
        self._starts[run.run_id] = start
        self._last_s, self._before = None, None
        self._excess_ah = self._shortfall_ah = 0.0
        self._most_a = 0.0
        self._ran_on = False
        count = situation.count
        world.daemon.entries.append((world.clock.now_s, again.Began(run, count, run.started_s)))

    def _see_charge(self, situation):
        run, count = situation.run, situation.count
        if run is None or count is None or count.last_s == self._last_s:
            return
        self._last_s = count.last_s
        self._counted += 1
        self._most_a = max(self._most_a, count.last_a, count.set_a)
        self._see_caps(run, count, situation)
        truth = self._truth_at(count.last_s)
        if truth is None:
            return
        self._see_between(count, truth[1])
        if self._world.is_full or self._counted % 8 == 0:
            self._compare(run, count, truth)

    def _compare(self, run, count, truth):
        start_ah, start_lied_ah = self._starts[run.run_id]
        true_ah = truth[1] - start_ah
        carried = run.carried
        own_ah = count.charge_ah - carried.charge_ah
        least_ah = own_ah + count.gap_least_ah - carried.gap_least_ah
        greatest_ah = own_ah + count.gap_greatest_ah - carried.gap_greatest_ah
        limit = limit_ah(run, count) + truth[2] - start_lied_ah
        self.counts["comparisons"] += 1
        least_ah -= self._shortfall_ah
        greatest_ah += self._excess_ah
        if not least_ah - limit <= true_ah <= greatest_ah + limit:
            self.broken(
                2,
                f"run {run.run_id}: {true_ah:.6f} Ah have passed, {least_ah:.6f} to "
                f"{greatest_ah:.6f} Ah are counted, ± {limit:.6f}",
            )

    def _truth_at(self, monotonic_s):
        world = self._world
        device = world.shunt if world.night.shunt_counts else world.supply
        for truth in reversed(device.truths):
            if truth[0] == monotonic_s:
                return truth
        return None

    def _see_between(self, count, true_ah):
        """What no reading can show, between two that are far apart while the supply does not obey.

        A gap's bound is that of its set-points. Within the gap limit two readings that are the same
        count as if nothing had been between them; nor does any reading show the jolt of a contactor
        that closes and opens between two of them.
        """
        now_s = self._world.clock.now_s
        before, self._before = self._before, (now_s, count, true_ah)
        if before is None:
            return
        since_s, earlier, earlier_ah = before
        passed_ah = true_ah - earlier_ah
        bound_ah = count.gap_greatest_ah - earlier.gap_greatest_ah
        off_ah = passed_ah - (count.charge_ah - earlier.charge_ah)
        is_gap = count.gap_s != earlier.gap_s
        if is_gap and passed_ah > bound_ah and self._disobeyed_s >= since_s:
            self._excess_ah += passed_ah - bound_ah
            self.excused["more than a gap's bound, from a supply that disobeyed"] += 1
        if is_gap:
            return
        pace_s = self._world.night.period_s if self._world.is_full else self._world.pace_s
        missing = count.last_s - earlier.last_s > 1.6 * pace_s
        if self._broke_s >= since_s or (missing and self._wild_s >= since_s):
            self._excess_ah += max(0.0, off_ah)
            self._shortfall_ah += max(0.0, -off_ah)
            self.excused["a jolt or dip between two readings within the gap limit"] += 1

    def broke_the_circuit(self):
        """The contactor opens under current."""
        self._broke_s = self._world.clock.now_s

    def _see_caps(self, run, count, situation):
        world, plan = self._world, run.plan
        daemon = world.daemon
        pace_s = daemon.limits.period_s + daemon.limits.gap_s + 4.0 * world.line.takes_s
        more_s = pace_s + (0.0 if self._plated else daemon.limits.down_s + daemon.limits.off_s)
        more_ah = self._most_a * more_s / 3600.0
        flows_on = not self._plated and situation.wind_down is not None
        carried = run.carried
        # Whoever goes on with a part that is at its cap gets nothing more on it.
        cap_ah = max(plan.charge_cap_ah, carried.charge_ah + carried.gap_greatest_ah)
        if count.greatest_ah > cap_ah + more_ah and not (flows_on or self._ran_on):
            self.broken(5, f"{count.greatest_ah:.5f} Ah of at most {cap_ah:.5f} Ah")
        progress = situation.progress
        if progress is not None and progress.running_s > plan.duration_cap_s + pace_s:
            self.broken(5, f"{progress.running_s:.1f} s of at most {plan.duration_cap_s:.1f} s")

    # Currents.

    def _slack_s(self):
        """Two readings, and what a slow line adds."""
        world = self._world
        pace_s = world.night.period_s if world.is_full else 1.5 * world.night.quiet_s
        return 2.0 * pace_s + 6.0 * world.line.takes_s + 0.3

    def _see_flow(self, situation, plates):
        world, now_s = self._world, self._world.clock.now_s
        if plates:
            self._flow_from_s = None
            return
        if self._plated:
            self.counts["stops"] += 1
            self._aborts = situation.state is State.ABORTING
        elif situation.wind_down is not None and self._sounds(situation):
            # For all that anybody can see: what is counted by the next reading is told of.
            self._ran_on = True
        current_a = world.supply.true_a()
        if current_a < world.night.gone_a:
            self._flow_from_s = None
            return
        if self._flow_from_s is None:
            self._flow_from_s = self._seen_from_s = now_s
            if not self._plated:
                self._aborts = True  # nothing has to be brought down first
        limits = world.daemon.limits
        allowed_s = limits.off_s + self._slack_s() + (0.0 if self._aborts else limits.down_s)
        was_blind, self._blind = self._blind, self._is_blind(situation)
        if was_blind or self._blind:
            self._seen_from_s = now_s  # its time begins with the cycle in which it can be seen
        if now_s - self._flow_from_s <= allowed_s:
            return
        if self._sounds(situation):
            self._ran_on = True
            return
        if now_s - self._seen_from_s <= allowed_s:
            self.excused["a current that no meter showed"] += 1
            return
        self.broken(
            1 if situation.wind_down is not None else 6,
            f"{current_a:.3f} A flow {now_s - self._seen_from_s:.1f} s after they were to be gone; "
            f"{situation.state.value}; {[a.cause for a in situation.alarms.standing]}",
        )

    def _sounds(self, situation):
        """Whether the alarm is there, and the siren is on until somebody has acknowledged it."""
        world = self._world
        for alarm in situation.alarms.standing:
            if alarm.cause in STILL_ON and alarm.active:
                seen_to = alarm.acknowledged_by is not None
                silent = (
                    not world.night.has_signals or self._siren_ill_s > world.clock.now_s - SHOWN_S
                )
                return seen_to or silent or world.siren.on
        return False

    def _is_blind(self, situation):
        """Whether the counting meter lies, or at rest nobody can look."""
        world, now_s = self._world, self._world.clock.now_s
        if world.counting_head.lie is not None:
            return True
        if situation.wind_down is not None:
            return False
        newest = world.daemon.panel.newest.get(world.night.counting)
        if newest is None:
            return True
        return world.clock.monotonic_s() - newest.monotonic_s > 2.0 * world.night.period_s or (
            now_s - self._lied_s < 1.0
        )

    def _see_deadlines(self, situation, plates):
        """Causes that surely stop a run have done so in their time."""
        world, now_s = self._world, self._world.clock.now_s
        due = [each for each in self._deadlines if each[0] <= now_s]
        self._deadlines = [each for each in self._deadlines if each[0] > now_s]
        for _, fault, run_id in due:
            self.counts["causes held to their time"] += 1
            same_run = situation.run is not None and situation.run.run_id == run_id
            if not plates or not same_run or self._hides(fault):
                continue
            current_a = world.supply.true_a()
            if current_a > 2.0 * world.night.gone_a:
                self.broken(1, f"{fault.name}: {current_a:.3f} A flow on, and nothing has tripped")

    def _hides(self, fault):
        """Whether something else that is wrong can rightly keep this from being seen in time."""
        others = [each for each in self._active if each is not fault]
        if fault not in self._active or any(each.group == fault.group for each in others):
            return True
        plain = fault.group in ("tank", "supply")
        return plain and any(
            each.blinds or each.group in ("tank", "supply", "wire", "pins") for each in others
        )

    def commanded(self, daemon, on=False, current_a=0.0, voltage_v=0.0):
        """The worker tells the supply something."""
        situation = daemon.loop.situation
        plates = situation.state in PLATING and situation.wind_down is None
        if (on or current_a > 0.0) and not plates:
            self.broken(6, f"told to give {current_a:g} A while {situation.state.value}")
        night = self._world.night
        if current_a > night.greatest_a + 0.001 or voltage_v > night.ceiling_v + 0.01:
            self.broken(5, f"told to give {current_a:g} A at {voltage_v:g} V")

    def beaten(self, daemon):
        """The contactor's permission is renewed."""
        situation = daemon.loop.situation
        if situation.state not in PLATING and not situation.demand.output_on:
            self.broken(6, f"the contactor is kept closed while {situation.state.value}")

    def entry(self, entry):
        """The loop hands this to the record."""
        self._alarms.entry(entry)
        if isinstance(entry, AlarmRaised):
            self.counts["alarms"] += 1
            self.note(f"alarm {entry.number}: {entry.cause}: {entry.seen}")
        elif isinstance(entry, RunOpened):
            self.note(f"run {entry.run_id} begins")

    # Lives of the process.

    def new_life(self, daemon):
        """A process has started: what it found of an interrupted run holds the truth."""
        self._forget()
        world = self._world
        true_ah = world.supply.true_ah()
        for run in daemon.interrupted:
            start_ah, _ = self._starts.get(run.run_id, (true_ah, 0.0))
            gaps_ah = kept.gaps_ah(world.record, run.run_id)
            limit = self._limits.get(run.run_id, 0.0)
            passed_ah = true_ah - start_ah
            least_ah = run.charge_ah + gaps_ah[0] - limit
            greatest_ah = run.charge_ah + gaps_ah[1] + limit
            greatest_ah += inf if run.greatest_ah is None else run.greatest_ah
            if passed_ah < least_ah or passed_ah > greatest_ah:
                if world.clock.now_s - self._disobeyed_s < 600.0:
                    self.excused["an interruption in which the supply disobeyed"] += 1
                    continue
                self.broken(
                    2,
                    f"run {run.run_id}, interrupted: {passed_ah:.6f} Ah have passed, "
                    f"{least_ah:.6f} to {greatest_ah:.6f} Ah are stated",
                )

    def died(self, dead, how):
        """The process has died: what it had committed is in the file, and little else is lost."""
        world, now_s = self._world, self._world.clock.now_s
        self.note(f"the process dies: {how}")
        self.counts["deaths"] += 1
        self._dead_s = now_s
        situation = dead.loop.situation
        self._limits = {}
        if situation.run is not None:
            truth_lied = world.counting_head.lied_as / 3600.0
            start = self._starts.get(situation.run.run_id, (0.0, truth_lied))
            lied_ah = truth_lied - start[1]
            bracket_ah = self._most_a * (dead.limits.period_s + 1.0) / 3600.0
            self._limits[situation.run.run_id] = (
                limit_ah(situation.run, situation.count)
                + lied_ah
                + bracket_ah
                + self._excess_ah
                + self._shortfall_ah
            )
        self._alarms.see_close_ups(complete=False)
        late = [at_s for at_s, entry in dead.entries[dead.committed :]
                if not isinstance(entry, again.Began)]  # fmt: skip
        if late and now_s - late[0] > COMMIT_S + 0.1 and now_s - self._disk_ill_s > 31.0:
            self.broken(3, f"{now_s - late[0]:.2f} s of entries were not committed")
        self._keep(dead)
        self._guard_works = self._guard_can()
        self._how = how
        self._deadlines = []

    def _guard_can(self):
        """Whether the guard's "off" gets there, and is obeyed."""
        return self._world.line.is_well and "off" not in self._world.supply.ignores

    def without_a_process(self):
        """Current ends by the guard, or else by the contactor."""
        self._mark()
        world, now_s = self._world, self._world.clock.now_s
        if now_s - self._dead_s < 1.5:
            # It acts once in this time, and what it needs may fail just then.
            self._guard_works = self._guard_works and self._guard_can()
            return
        if world.supply.true_a() < world.night.gone_a:
            return
        by_guard = self._how in ("loop", "hung") and self._guard_works
        by_contactor = world.night.has_contactor and not world.contactor.welded
        if by_contactor or (by_guard and now_s - self._disobeyed_s > 60.0):
            self.broken(1, f"{world.supply.true_a():.3f} A flow on without a process")
        else:
            self.excused["a dead process with neither guard nor contactor"] += 1

    def ended_well(self):
        """The process has ended in good order."""
        daemon = self._world.daemon
        self._alarms.see_close_ups(complete=True)
        self._keep(daemon)

    def _keep(self, daemon):
        """Hold the record against what was committed, and count it once more."""
        world = self._world
        self.lives.append(daemon.entries[: daemon.committed])
        for text in again.run_through(daemon.entries, daemon.limits.gap_s):
            self.broken(8, text)
        if world.record is None:
            put = [e for _, e in daemon.entries if not isinstance(e, (again.Began, again.Asked))]
            if put != daemon.writer.kept:
                self.broken(3, "the list of entries is not what was handed over")
            return
        entries = [entry for life in self.lives for _, entry in life]
        for number, text in kept.differences(world.record, entries, self.settled_ah):
            self.broken(number, text)

    def night_over(self):
        """Nothing more comes."""
        self.counts["nights"] += 1
