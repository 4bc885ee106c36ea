"""Plans of one stage that many tests start."""

PLATE = """\
title = "Plate"
area = "1 dm²"
target = "10 µm"
voltage_ceiling = "6 V"
caps = { charge = "10 Ah", duration = "10 h" }
[[stage]]
name = "build"
current = "2 A"
"""

LARGE_PLATE = """\
title = "Plate"
area = "4 dm²"
target = "10 µm"
voltage_ceiling = "6 V"
caps = { charge = "10 Ah", duration = "10 h" }
[[stage]]
name = "build"
current = "2 A"
"""

BRACKET = """\
title = "Bracket"
area = "1.8 dm²"
target = "12 µm"
voltage_ceiling = "6 V"
caps = { charge = "2 Ah", duration = "5 h" }
[[stage]]
name = "build"
current = "2 A"
"""
