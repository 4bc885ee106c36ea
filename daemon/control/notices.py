"""Kinds of events that are told and are no alarms."""

OFF_REHEARSAL = "off the rehearsal"
"""Voltage or bath has left the range that was foretold."""

AS_REHEARSED = "as rehearsed again"
"""It is back."""

DOSE_KEPT = "dose kept back"
"""A pump is kept from a dose that is owed, and somebody has to see to it."""

DOSE_OWED_NO_MORE = "dose not kept back any more"
"""It was given, by the pump or by hand."""
