"""A whole night in one thread on one virtual clock: the daemon's own inside on a tank with faults.

`drawn` is what a seed says of a night, `world` lives through it, `daemon` is the program as it
stands in that world, `devices` are the ends of its wires, `faults` and `people` what happens to it,
`checks` what has to hold all along, `exact` and `kept` what has to hold afterwards.
"""
