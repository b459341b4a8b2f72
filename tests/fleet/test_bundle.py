"""Bundles and signed messages against the RFCs, an independent library, and hostile bytes."""

from __future__ import annotations

import cbor2
import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from hypothesis import given
from hypothesis import strategies as st
from pycose.headers import KID, Algorithm
from pycose.keys.okp import OKPKey
from pycose.messages.sign1message import Sign1Message

from pitlogger.errors import BundleError, HubFullError
from pitlogger.formats.bundle import (
    MOST_BYTES,
    Bundle,
    ClockPart,
    EntryPart,
    LostPart,
    NowPart,
    RunPart,
    SpanPart,
    dump_bundle,
    load_bundle,
)
from pitlogger.formats.cose import read_cbor, read_signed, sign, verify

# RFC 8032 section 7.1, test 2: secret key, public key, message of one byte, signature.
SECRET = bytes.fromhex("4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb")
PUBLIC = bytes.fromhex("3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c")
SIGNATURE = bytes.fromhex(
    "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da"
    "085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00"
)
KEY = Ed25519PrivateKey.from_private_bytes(SECRET)

ROW = RunPart("boot-1", 1_000, 5, "0.2.0", True, None, "trailer")
WHOLE = Bundle(
    "p-abc", 7, "k7qm-3v9xw2pd", ROW,
    (ClockPart(1_000, 12, True, 0),),
    (SpanPart("brisket-1/core", "temperature", 600_000, 1, 600, b"\x01packed",
              (60,) * 9 + (None,), (70_000,) * 9 + (None,), (0,) * 10, (5,) * 10),),
    (EntryPart(3, 1_500, "noted", "AB", None, "supper", '{"kind":"noted","text":"lit ö"}'),),
    (LostPart(1, 2, 3, "disk full"),),
    NowPart(2_000, 1, '{"cooks":[]}'),
)  # fmt: skip


def test_the_signature_is_that_of_the_rfc() -> None:
    assert KEY.public_key().public_bytes_raw() == PUBLIC
    assert KEY.sign(b"\x72") == SIGNATURE


@pytest.mark.parametrize(
    ("raw", "value"),
    # RFC 8949, appendix A.
    [("00", 0), ("1bffffffffffffffff", 2**64 - 1), ("3903e7", -1000), ("f4", False), ("f6", None),
     ("4401020304", b"\1\2\3\4"), ("62c3bc", "ü"), ("83010203", [1, 2, 3]),
     ("a201020304", {1: 2, 3: 4})],
)  # fmt: skip
def test_cbor_reads_as_the_rfc_says(raw: str, value: object) -> None:
    assert read_cbor(bytes.fromhex(raw)) == value


def test_a_message_comes_back_from_who_signed_it() -> None:
    signed = read_signed(sign(b"payload", KEY, "p-abc"))
    assert signed.key_id == "p-abc"
    assert verify(signed, Ed25519PublicKey.from_public_bytes(PUBLIC)) == b"payload"


def test_an_independent_library_verifies_what_we_sign() -> None:
    tag = cbor2.loads(sign(b"payload", KEY, "p-abc"))
    protected, unprotected, payload, signature = tag.value
    parts = [protected, dict(unprotected), payload, signature]
    message = Sign1Message.from_cose_obj(parts, True)
    message.key = OKPKey(crv="ED25519", x=PUBLIC, d=b"")
    assert message.verify_signature()
    assert message.payload == b"payload"
    assert message.uhdr[KID] == b"p-abc"


def test_we_verify_what_an_independent_library_signs() -> None:
    message = Sign1Message(phdr={Algorithm: -8}, uhdr={KID: b"p-abc"}, payload=b"other")
    message.key = OKPKey(crv="ED25519", d=SECRET, x=PUBLIC)
    signed = read_signed(message.encode())
    assert verify(signed, KEY.public_key()) == b"other"


@given(st.integers(0, 400), st.integers(1, 255))
def test_a_flipped_byte_is_never_taken(at: int, flip: int) -> None:
    message = bytearray(sign(dump_bundle(WHOLE), KEY, "p-abc"))
    message[at % len(message)] ^= flip
    try:
        signed = read_signed(bytes(message))
        payload = verify(signed, KEY.public_key())
    except BundleError:
        return
    assert payload == dump_bundle(WHOLE)  # a header that is not signed: the name of the key
    assert signed.key_id != "p-abc" or bytes(message) == sign(dump_bundle(WHOLE), KEY, "p-abc")


def test_a_bundle_comes_back_as_it_was() -> None:
    assert load_bundle(dump_bundle(WHOLE)) == WHOLE


@given(st.binary(max_size=200))
def test_any_bytes_are_a_bundle_or_a_reason(data: bytes) -> None:
    for read in (load_bundle, read_signed):
        with pytest.raises(BundleError):
            read(data)


values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text(max_size=5) | st.binary(max_size=5),
    lambda inner: st.lists(inner, max_size=4)
    | st.dictionaries(st.text(max_size=3), inner, max_size=3),
    max_leaves=8,
)  # fmt: skip


@given(st.sampled_from(["v", "node", "n", "run", "row", "clock", "s", "j", "lost", "now"]), values)
def test_a_part_that_does_not_fit_is_a_reason(name: str, value: object) -> None:
    given_map = cbor2.loads(dump_bundle(WHOLE))
    given_map[name] = value
    try:
        found = load_bundle(cbor2.dumps(given_map))
    except (BundleError, HubFullError):
        return  # named, and nothing else escapes
    assert load_bundle(dump_bundle(found)) == found


def test_what_is_too_long_is_refused_before_it_is_read() -> None:
    with pytest.raises(BundleError, match="262144 at most"):
        load_bundle(b"\x00" * (MOST_BYTES + 1))


def test_a_newer_node_may_say_more() -> None:
    given_map = cbor2.loads(dump_bundle(WHOLE))
    assert load_bundle(cbor2.dumps({**given_map, "humour": 3})) == WHOLE
    with pytest.raises(HubFullError, match="the node sends 9: upgrade the hub"):
        load_bundle(cbor2.dumps({**given_map, "v": 9}))
    for other in (0, -1, True, "1", 1.0, None):
        with pytest.raises(BundleError, match="version"):
            load_bundle(cbor2.dumps({**given_map, "v": other}))
