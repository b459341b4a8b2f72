"""Signed messages: COSE_Sign1 with Ed25519.

Sources: RFC 9052 section 4.2 (COSE_Sign1, tag 18) and 4.4 (what is signed); RFC 9053 section
2.2 (EdDSA is algorithm -8); RFC 8032 (Ed25519); RFC 8949 (CBOR).
"""

from __future__ import annotations

import io
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import cbor2
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from pitlogger.errors import BundleError

SIGN1_TAG = 18
ALGORITHM, KEY_ID = 1, 4  # header labels, RFC 9052 table 3
EDDSA = -8
_PROTECTED = cbor2.dumps({ALGORITHM: EDDSA})


@dataclass(frozen=True, slots=True)
class Signed:
    """A message as it came: who claims to have signed it, what it says, the signature."""

    key_id: str
    payload: bytes
    protected: bytes
    signature: bytes


def read_cbor(data: bytes) -> Any:
    """Return the one value that these bytes encode.

    Raises:
        BundleError: No CBOR, or something follows it.
    """
    source = io.BytesIO(data)
    try:
        value = cbor2.load(source)
    except (cbor2.CBORDecodeError, ValueError, RecursionError, MemoryError, OverflowError) as fault:
        raise BundleError(f"not CBOR: {fault}") from None
    if source.read(1):
        raise BundleError("bytes follow the end of the message")
    return value


def sign(payload: bytes, key: Ed25519PrivateKey, key_id: str) -> bytes:
    """Return a payload with its signature, as one message."""
    signature = key.sign(_signed_part(_PROTECTED, payload))
    message = [_PROTECTED, {KEY_ID: key_id.encode()}, payload, signature]
    return cbor2.dumps(cbor2.CBORTag(SIGN1_TAG, message))


def read_signed(message: bytes) -> Signed:
    """Return the parts of a message whose signature is still to be verified.

    Raises:
        BundleError: Not such a message.
    """
    value = read_cbor(message)
    if not isinstance(value, cbor2.CBORTag) or value.tag != SIGN1_TAG:
        raise BundleError("not a signed message (COSE_Sign1, tag 18)")
    parts = value.value
    if not isinstance(parts, list | tuple) or len(parts) != 4:
        raise BundleError("a signed message has four parts")
    protected, open_headers, payload, signature = parts
    if not all(isinstance(part, bytes) for part in (protected, payload, signature)):
        raise BundleError("headers, payload and signature must be byte strings")
    headers = read_cbor(protected)
    if headers != {ALGORITHM: EDDSA}:
        raise BundleError("signed by another algorithm than EdDSA")
    key_id = open_headers.get(KEY_ID) if isinstance(open_headers, Mapping) else None
    if not isinstance(key_id, bytes) or len(key_id) > 64:
        raise BundleError("it does not say whose key signed it")
    return Signed(key_id.decode("ascii", "replace"), payload, protected, signature)


def verify(signed: Signed, key: Ed25519PublicKey) -> bytes:
    """Return the payload of a message that this key signed.

    Raises:
        BundleError: Another key signed it, or it was changed.
    """
    try:
        key.verify(signed.signature, _signed_part(signed.protected, signed.payload))
    except InvalidSignature:
        raise BundleError("the signature does not fit: changed, or another node's") from None
    return signed.payload


def _signed_part(protected: bytes, payload: bytes) -> bytes:
    return cbor2.dumps(["Signature1", protected, b"", payload])
