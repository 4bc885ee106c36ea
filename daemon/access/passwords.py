"""Passwords: which are taken, what is kept of them, and how one is held against it.

scrypt is RFC 7914's. It makes each guess at a stolen file cost memory and time.
"""

import hashlib
import hmac
import secrets
import unicodedata
from dataclasses import dataclass

from daemon.access.errors import BadOperatorError

LEAST_CHARACTERS = 15
"""Of a password that stands alone (NIST SP 800-63B-4, 3.1.1.2). There are no other rules: rules on
letters and digits make passwords easier to guess and harder to keep in mind (same place)."""

MOST_CHARACTERS = 256
"""Above the 64 that have to be taken at least (same place)."""

SALT_BYTES = 16
"""128 bits: four times the 32 that are asked for at least (same place)."""

KEY_BYTES = 32

COST, BLOCK, LANES = 2**15, 8, 3
"""scrypt's N, r and p: the row of OWASP's Password Storage Cheat Sheet that takes 32 MiB, which a
small Pi has to spare; its rows are equally strong and trade memory for time."""

_SPARE_BYTES = 1 << 20


@dataclass(frozen=True, slots=True)
class Hashed:
    """What is kept of a password: a salt of its own, the key made of both, and scrypt's cost."""

    salt: bytes
    key: bytes
    cost: int = COST
    block: int = BLOCK
    lanes: int = LANES


def hashed(password: str) -> Hashed:
    """What to keep of a new password. Raises `BadOperatorError` for one that is not taken."""
    length = len(_normal(password))
    if not LEAST_CHARACTERS <= length <= MOST_CHARACTERS:
        raise BadOperatorError(
            f"the password has {length} characters: {LEAST_CHARACTERS} to {MOST_CHARACTERS} are "
            "taken, of any kind; four or five words do well"
        )
    salt = secrets.token_bytes(SALT_BYTES)
    return Hashed(salt, _key(password, Hashed(salt, b"")))


def matches(password: str, kept: Hashed | None) -> bool:
    """Whether it is that password. Without one (None) it takes as long, and is not."""
    against = kept if kept is not None else Hashed(bytes(SALT_BYTES), bytes(KEY_BYTES))
    # A longer one was never taken, and would only cost time.
    is_same = hmac.compare_digest(_key(password[:MOST_CHARACTERS], against), against.key)
    return is_same and kept is not None and len(password) <= MOST_CHARACTERS


def _normal(password: str) -> str:
    """The same for the same keys, whatever they are pressed on (NIST SP 800-63B-4, 3.1.1.2)."""
    return unicodedata.normalize("NFKC", password)


def _key(password: str, kept: Hashed) -> bytes:
    return hashlib.scrypt(
        _normal(password).encode("utf-8", "surrogatepass"),
        salt=kept.salt,
        n=kept.cost,
        r=kept.block,
        p=kept.lanes,
        # RFC 7914, 2: the large array, and a block for each lane.
        maxmem=128 * kept.block * (kept.cost + kept.lanes + 2) + _SPARE_BYTES,
        dklen=KEY_BYTES,
    )
