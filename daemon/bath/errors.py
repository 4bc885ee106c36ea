"""Every way the bath's account can refuse, as one tree."""


class BathError(Exception):
    """Root of everything that the bath's rooms raise."""


class EntryError(BathError):
    """An entry cannot be taken: says which part of it, what came and what is allowed."""


class PartError(BathError):
    """A part's area cannot be worked out: says what of the part, what came and what is allowed."""


class WeighingError(BathError):
    """Masses say nothing of an efficiency: says which of them, what came and what is allowed."""
