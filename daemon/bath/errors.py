"""Every way the bath's account can refuse, as one tree."""


class BathError(Exception):
    """Root of everything that the bath's rooms raise."""


class EntryError(BathError):
    """An entry cannot be taken: says which part of it, what came and what is allowed."""
