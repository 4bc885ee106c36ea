"""Meters and thermometers that the kernel reads: files of its hwmon, IIO and 1-Wire drivers.

`description` says which file of which chip means what, `devices` makes a meter or a thermometer of
it, `channel` is one such file, and `ripple` says what a burst of readings tells about ripple.
"""
