"""The daemon's side of a calibration: what the points say is kept, and known from then on."""

import threading
from collections.abc import Callable, Mapping

from daemon.api.calibration.reference import read_class
from daemon.api.errors import InputError
from daemon.api.socket.messages import CalibrateRequest
from daemon.chemistry.calibration import MeterLine, calibrated, stepped
from daemon.chemistry.uncertainty import MeterDoubt
from daemon.clock import Clock, to_ms
from daemon.control.panel import Correction, MeterFacts
from daemon.record.calibrations import Calibration
from daemon.record.entries import CalibrationMade

LEAST_GAIN, GREATEST_GAIN = 0.8, 1.25
"""A meter that is further off is wired or described wrong, or the reference was misread: that is to
be put right, and not to be calculated away (common practice)."""

RUN_IS_OPEN = (
    "a run is under way, and it is counted to its end as it was begun: keep this when it is over"
)
"""Why a calibration is refused."""


def known(described: MeterDoubt, kept: Calibration | None) -> MeterFacts:
    """What is known of a meter: by its newest calibration, or by what its maker promises.

    A calibration speaks of gain and offset; noise, clock and step stay as they are `described`.
    """
    if kept is None:
        return MeterFacts(Correction(), described)
    line = kept.made.line
    doubt = line.doubt(described.noise_a, described.clock, described.step_a)
    return MeterFacts(Correction(line.gain, line.offset_a), doubt, kept.id)


def known_meters(
    described: Mapping[str, MeterDoubt], kept: Mapping[str, Calibration]
) -> dict[str, MeterFacts]:
    """What is known of each meter by its name, from what its maker promises and what is kept."""
    return {name: known(doubt, kept.get(name)) for name, doubt in described.items()}


class Calibrator:
    """Takes requests to calibrate, in any thread.

    `described` are the meters by name with what their makers promise, `kept` their calibrations so
    far. `keep` puts one into the record and gives its number once it is on the disk. `learn` lets
    the loop know, `run_is_open` says whether a run is under way.
    """

    def __init__(
        self,
        described: Mapping[str, MeterDoubt],
        kept: Mapping[str, Calibration],
        keep: Callable[[CalibrationMade], int],
        learn: Callable[[str, MeterFacts], None],
        run_is_open: Callable[[], bool],
        clock: Clock,
    ) -> None:
        self._described = described
        self._kept = dict(kept)
        self._keep = keep
        self._learn = learn
        self._run_is_open = run_is_open
        self._clock = clock
        self._one_at_a_time = threading.Lock()

    def calibrate(self, request: CalibrateRequest) -> None:
        """Fit, keep and make known.

        Raises InputError when nothing was kept, with the reason; sqlalchemy.exc.DatabaseError when
        the disk refuses.
        """
        with self._one_at_a_time:
            made = self._made(request)
            if self._run_is_open():
                raise InputError(request.meter, (RUN_IS_OPEN,))
            kept = Calibration(self._keep(made), made)
            self._kept[request.meter] = kept
            self._learn(request.meter, known(self._described[request.meter], kept))

    def _made(self, request: CalibrateRequest) -> CalibrationMade:
        described = self._described.get(request.meter)
        if described is None:
            names = ", ".join(self._described)
            raise InputError("meter", (f"expected one of {names}, got {request.meter!r}",))
        last = self._kept.get(request.meter)
        line = last.made.line if last else MeterLine(1.0, 0.0, described.gain, described.offset_a)
        reference = read_class(request.reference_class)
        points = stepped(request.points, described.step_a)
        try:
            fit = calibrated(points, reference, line)
        except ValueError as error:
            raise InputError("points", (str(error),)) from error
        gain = fit.line.gain
        if not LEAST_GAIN <= gain <= GREATEST_GAIN:
            raise InputError(
                "points",
                (f"the meter would show {gain:.4g} A for each ampere; beyond {LEAST_GAIN:g} to "
                 f"{GREATEST_GAIN:g} its wiring, its description or the reference is wrong",),
            )  # fmt: skip
        return CalibrationMade(
            meter=request.meter,
            utc_ms=to_ms(self._clock.utc()),
            who=request.who,
            reference=request.reference,
            reference_class=request.reference_class,
            note=request.note,
            points=points,
            line=fit.line,
        )
