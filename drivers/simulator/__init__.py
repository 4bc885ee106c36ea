"""A simulated tank with a bench supply: a physical model, inline or as a process on a pty.

`inline.SimulatedSupply` calls the model in the same process, on any clock.
`process.SimulatorProcess` starts `python -m drivers.simulator`, which speaks SCPI on a pty.
"""
