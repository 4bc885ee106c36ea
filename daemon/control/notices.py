"""Kinds of events that are told and are no alarms: nobody has to do anything."""

OFF_REHEARSAL = "off the rehearsal"
"""Voltage or bath has left the range that was foretold."""

AS_REHEARSED = "as rehearsed again"
"""It is back."""
