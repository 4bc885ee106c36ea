"""The one error of installing: what is wrong, and what then holds."""


class InstallError(Exception):
    """Refused or failed; the text says why, what was changed, and what to do."""
