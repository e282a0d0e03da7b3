"""Passwords kept as salted scrypt hashes (RFC 7914), by the standard library.

Cost 2^15, block 8, three times: 32 MB and some tenths of a second for each try, one at a time in a process, so that a crowd at
the door cannot eat the memory. The cost stands in each hash; a hash of another cost is still read.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import secrets
import threading
import unicodedata

from shared.errors import StoreError

COST, BLOCK, TIMES = 15, 8, 3
SHORTEST, LONGEST = 12, 200
_one_at_a_time = threading.Lock()


def scrypt(password: str, salt: bytes, cost: int, block: int, lanes: int) -> bytes:
    """64 bytes for a password. cost: power of two."""
    plain = unicodedata.normalize("NFKC", password).encode()
    n = 1 << cost
    with _one_at_a_time:
        return hashlib.scrypt(plain, salt=salt, n=n, r=block, p=lanes, maxmem=256 * n * block + (1 << 20), dklen=64)


def hashed(password: str) -> str:
    """What is kept of a password."""
    salt = secrets.token_bytes(16)
    parts = (base64.b64encode(b).decode() for b in (salt, scrypt(password, salt, COST, BLOCK, TIMES)))
    return f"scrypt${COST}${BLOCK}${TIMES}${'$'.join(parts)}"


def fits(password: str, kept: str) -> bool:
    """Whether a password is the one that was kept. With nothing kept it takes as long and is always false."""
    cost, block, lanes, salt, wanted = COST, BLOCK, TIMES, bytes(16), b""
    if kept:
        _, cost_text, block_text, lanes_text, salt_text, wanted_text = kept.split("$")
        cost, block, lanes = int(cost_text), int(block_text), int(lanes_text)
        salt, wanted = base64.b64decode(salt_text), base64.b64decode(wanted_text)
    return hmac.compare_digest(scrypt(password[:LONGEST], salt, cost, block, lanes), wanted) and bool(kept)


def checked_password(password: str, name: str) -> str:
    """The password, if it may be taken. Raises StoreError; the password is never repeated in the line."""
    wrong = ""
    if not SHORTEST <= len(password) <= LONGEST:
        wrong = f"{len(password)} characters"
    elif len(set(password)) < 5:
        wrong = "a few characters repeated"
    elif name and name.lower() in password.lower():
        wrong = "the name is in it"
    if wrong:
        raise StoreError(
            "password cannot be taken",
            given=wrong,
            allowed=f"{SHORTEST} to {LONGEST} characters, not a few repeated, without the name",
            do="take several words that nobody would guess",
        )
    return password
