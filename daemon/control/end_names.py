"""What the ends of stages and runs are called."""

TARGET = "target"
CHARGE_CAP = "cap on charge"
DURATION_CAP = "cap on time"
STAGE_CHARGE = "charge"
STAGE_THICKNESS = "thickness"
STAGE_DURATION = "duration"
STAGE_VOLTAGE = "cell voltage"

ENDS_OF_RUN = frozenset({TARGET, CHARGE_CAP, DURATION_CAP})
