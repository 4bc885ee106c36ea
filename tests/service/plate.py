"""A plan of one stage that many tests of the service start."""

PLAN = """\
title = "Plate"
area = "1 dm²"
target = "10 µm"
voltage_ceiling = "6 V"
caps = { charge = "10 Ah", duration = "10 h" }
[[stage]]
name = "build"
current = "2 A"
"""
