"""Joining a hub: by its address and a code, in one go.

The first half of the code names the hub's authority (``hub/codes.py``), which is fetched over a
connection that trusts nobody yet and believed only if its digest fits. The second half is the
secret by which the hub takes this node in; the request is signed with the node's own key.
"""

from __future__ import annotations

import json
import ssl
from contextlib import suppress
from dataclasses import asdict
from ipaddress import ip_address
from pathlib import Path
from urllib.parse import urlsplit

import cbor2
import httpx
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from pitlogger.errors import DeliveryError, RefusedError, UsageError
from pitlogger.files import write_whole
from pitlogger.formats.cose import sign
from pitlogger.formats.join_code import authority_letters, parse_code
from pitlogger.uplink.joined import AUTHORITY_FILE, CERTIFICATE_FILE, JOINED_FILE
from pitlogger.views.uplink import Joined

DEFAULT_PORT = 8443
TIMEOUT_S = 15.0


def full_address(text: str) -> str:
    """Return the address of a hub as somebody typed it, with scheme and port.

    Raises:
        UsageError: No address.
    """
    typed = text.strip()
    if _is_ipv6(typed):
        typed = f"[{typed}]"
    try:
        parts = urlsplit(typed if "://" in typed else f"https://{typed}")
        port = parts.port or DEFAULT_PORT
    except ValueError:
        parts, port = urlsplit(""), 0
    if parts.scheme != "https" or not parts.hostname or parts.path.strip("/"):
        raise UsageError(
            f"'{text}' is no address of a hub: expected its name, such as kitchen.local,"
            " or https://kitchen.local:8443, with a port up to 65535"
        )
    host = f"[{parts.hostname}]" if ":" in parts.hostname else parts.hostname
    return f"https://{host}:{port}"


def _is_ipv6(text: str) -> bool:
    with suppress(ValueError):
        return ip_address(text).version == 6
    return False


async def join(
    address: str, code: str, data: Path, key: Ed25519PrivateKey, uid: str, name: str
) -> Joined:
    """Join a hub and keep what is known of it in the data folder.

    Raises:
        UsageError: Address or code cannot be read.
        RefusedError: The hub refuses, or is another than the code is of.
        DeliveryError: It cannot be reached.
    """
    hub = full_address(address)
    letters, secret = parse_code(code)
    try:
        authority = await _authority(hub)
        if not authority.isascii() or authority_letters(authority) != letters:
            raise RefusedError(
                f"{hub} is not the hub this code is of, or the code was mistyped."
                " Nothing was sent; ask for the code again"
            )
        answer = await _ask_in(hub, authority, secret, key, uid, name)
    except (httpx.HTTPError, OSError) as fault:
        said = str(fault) or type(fault).__name__
        if "WRONG_VERSION_NUMBER" in said:
            raise DeliveryError(
                f"{hub} answers, but speaks no https: another program's port, or its page's",
                remedy="A hub takes nodes in at port 8443, or at [hub] port",
            ) from None
        raise DeliveryError(
            f"{hub} cannot be reached ({said})",
            remedy="Check its address, and that [hub] enabled = true there",
        ) from None
    broker = answer.get("broker", "")
    found = Joined(hub, answer["hub"], answer["tenant"], answer["site"], broker)
    write_whole(data / AUTHORITY_FILE, authority.decode("ascii"))
    keep_certificate(data, answer.get("certificate", ""))
    write_whole(data / JOINED_FILE, json.dumps(asdict(found)))
    return found


def keep_certificate(data: Path, pem: str) -> None:
    """Keep a certificate that the hub gave this node.

    Raises:
        OSError: It could not be written; the old one stays.
    """
    if pem:
        write_whole(data / CERTIFICATE_FILE, pem)


async def renew(hub: Joined, data: Path, key: Ed25519PrivateKey, uid: str) -> None:
    """Have the hub certify this node anew after its certificate ran out.

    Raises:
        DeliveryError: The hub cannot be reached, or does not know this node any more.
    """
    said = sign(cbor2.dumps({"v": 1, "node": uid, "renew": True}), key, uid)
    try:
        trust = pinned((data / AUTHORITY_FILE).read_text(encoding="ascii"))
        async with httpx.AsyncClient(verify=trust, timeout=TIMEOUT_S, trust_env=False) as client:
            reply = await client.post(f"{hub.address}/fleet/1/{uid}/certificate", content=said)
        if reply.status_code != 200:
            raise DeliveryError(
                f"{hub.address} does not certify this node anew: {reply.text[:200]}",
                remedy="Join again: pitlogger uplink join HUB CODE",
            )
        keep_certificate(data, reply.json()["certificate"])
    except (httpx.HTTPError, OSError, ValueError, KeyError) as fault:
        raise DeliveryError(
            f"this node's certificate ran out and {hub.address} cannot be reached ({fault})",
            remedy="Check the network, and that the hub runs",
        ) from None


async def _authority(hub: str) -> bytes:
    nobody = ssl.create_default_context()
    nobody.check_hostname, nobody.verify_mode = False, ssl.CERT_NONE
    async with httpx.AsyncClient(verify=nobody, timeout=TIMEOUT_S, trust_env=False) as client:
        reply = await client.get(f"{hub}/fleet/1/authority")
    if reply.status_code != 200 or len(reply.content) > 10_000:
        raise RefusedError(f"no hub answers at {hub}: is it a pitlogger with [hub] enabled = true?")
    return reply.content


async def _ask_in(
    hub: str, authority: bytes, secret: str, key: Ed25519PrivateKey, uid: str, name: str
) -> dict[str, str]:
    public = key.public_key().public_bytes_raw()
    said = cbor2.dumps({"v": 1, "node": uid, "key": public, "name": name, "secret": secret})
    async with httpx.AsyncClient(
        verify=pinned(authority.decode("ascii")), timeout=TIMEOUT_S, trust_env=False
    ) as client:
        reply = await client.post(f"{hub}/fleet/1/join", content=sign(said, key, uid))
    if reply.status_code != 200:
        raise RefusedError(reply.json().get("error", reply.text[:200]))
    answer: dict[str, str] = reply.json()
    return answer


def pinned(authority: str) -> ssl.SSLContext:
    """Return a TLS context that trusts one authority and asks for no host name.

    The authority signs for its hub alone; name and address of the host may change.

    Raises:
        ssl.SSLError: No certificate.
    """
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    context.check_hostname = False
    context.load_verify_locations(cadata=authority)
    return context
