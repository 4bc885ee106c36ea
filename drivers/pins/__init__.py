"""The Pi's own pins: the contactor's heartbeat line, beacon and siren, and contacts that are read.

`header` knows which pins may be used, and loads nothing; `lines` drives and reads them.
"""
