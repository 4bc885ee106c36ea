"""Installing tankhand as a service, upgrading and removing it: `./go install`, `./go uninstall`.

Runs from a clone with the system's Python, before anything else is there: the standard library
only.
"""
