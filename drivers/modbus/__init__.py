"""Supplies that speak Modbus RTU over a serial line or a socket.

`description` says how one model differs from the next, `supply` drives it, `off` is the shortest
way to "output off". Nothing is imported here: `off` has to be ready before anything heavy is
loaded, and importing it imports this file first.
"""
