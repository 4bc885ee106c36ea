"""What can be wrong with an operator, a password, a token, or the file that keeps them."""


class AccessError(Exception):
    """Base of this package's errors: says what came, what is allowed, and where."""


class BadOperatorError(AccessError):
    """A name or a password that cannot be taken."""


class BadTokenError(AccessError):
    """A token that cannot be made, or that there is none of."""


class UnreadableError(AccessError):
    """A file that is there and cannot be used: who may what is then not known."""
