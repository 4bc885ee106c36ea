"""Pure: what may happen next. No I/O, no clock, no database; time comes in as seconds."""
