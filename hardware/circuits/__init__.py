"""The box's circuits as data, and what follows from it: drawings, parts lists, pin map, checks.

`python -m hardware.circuits` makes all of that anew. The sheets beside this file are the one
source; nothing here is loaded by the daemon.
"""
