"""What is kept of a secret that somebody else holds: a key, a code, a token."""

import hashlib


def digest(secret: str) -> str:
    """Return the SHA-256 of a secret in hex: enough to recognise it, and not to tell it."""
    return hashlib.sha256(secret.encode()).hexdigest()
