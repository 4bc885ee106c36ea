"""Secrets that machines and browsers show in place of a password, and what is kept of them.

Only a hash is kept, so that the files open nothing. It is plain SHA-256: a secret is 256 random
bits, which nobody can guess however fast each try is. Slow hashes make up for what people choose as
passwords.
"""

import hashlib
import secrets

SECRET_BYTES = 32
"""256 bits, from the system's source of chance."""


def new_secret() -> str:
    """A secret that nobody has had before, in letters, digits, `-` and `_`."""
    return secrets.token_urlsafe(SECRET_BYTES)


def sha256(shown: str) -> str:
    """What is kept of a secret, and found again by whatever was shown as one: 64 hex digits."""
    return hashlib.sha256(shown.encode("utf-8", "surrogatepass")).hexdigest()
