"""What speaks on the wire: supplies and, in `drivers.simulator`, a tank to try them on."""
