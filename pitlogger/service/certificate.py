"""A certificate for this node's page, from an authority of its own that can sign nothing else.

The authority is constrained to the node's names and addresses (RFC 5280, 4.2.1.10), signs one
certificate and is never written with its key: once the process ends nobody can sign with it. A
phone that trusts it trusts it for this node alone.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from ipaddress import IPv4Address, IPv6Address, ip_address, ip_network
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from pitlogger.errors import UsageError
from pitlogger.files import write_whole

AUTHORITY, CERTIFICATE, KEY = "authority.pem", "certificate.pem", "key.pem"
DAYS = (
    820  # some phones take none from an authority of their owner that lasts over 825; from memory
)
_BEFORE = datetime.timedelta(hours=1)  # a phone whose clock is a little behind


@dataclass(frozen=True, slots=True)
class Issued:
    """What was written, the names it is good for, and its last day."""

    authority: Path
    certificate: Path
    key: Path
    names: tuple[str, ...]
    until: datetime.datetime


def issue(folder: Path, names: tuple[str, ...], now: datetime.datetime) -> Issued:
    """Write a new authority, a certificate and its key into a folder, in place of older ones.

    Args:
        names: Host names and addresses that the page is opened by.

    Raises:
        UsageError: A name cannot stand in a certificate.
        OSError: The folder cannot be written.
    """
    known = [_general_name(name) for name in names]
    root, own = ec.generate_private_key(ec.SECP256R1()), ec.generate_private_key(ec.SECP256R1())
    until = now + datetime.timedelta(days=DAYS)
    title = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, f"pitlogger at {names[0]}"[:64])])
    allowed = [_subtree(one) for one in known]
    authority = (
        _begun(title, title, root.public_key(), now, until)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(x509.NameConstraints(allowed, _excluded(known)), critical=True)
        .add_extension(_usage(signs=True), critical=True)
        .sign(root, hashes.SHA256())
    )
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, names[0][:64])])
    identifier = x509.AuthorityKeyIdentifier.from_issuer_public_key(root.public_key())
    certificate = (
        _begun(subject, title, own.public_key(), now, until)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(x509.SubjectAlternativeName(known), critical=False)
        .add_extension(_usage(signs=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(identifier, critical=False)
        .sign(root, hashes.SHA256())
    )
    folder.mkdir(parents=True, exist_ok=True)
    made = Issued(folder / AUTHORITY, folder / CERTIFICATE, folder / KEY, names, until)
    pem = serialization.Encoding.PEM
    secret = own.private_bytes(pem, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())
    write_whole(made.key, secret.decode())
    write_whole(made.certificate, certificate.public_bytes(pem).decode())
    write_whole(made.authority, authority.public_bytes(pem).decode(), mode=0o644)
    return made


def _general_name(name: str) -> x509.DNSName | x509.IPAddress:
    try:
        return x509.IPAddress(ip_address(name))
    except ValueError:
        pass
    if not name.isascii() or not all(part.replace("-", "").isalnum() for part in name.split(".")):
        raise UsageError(f"'{name}' is neither a host name nor an address; an example: barn.local")
    return x509.DNSName(name.casefold())


def _subtree(name: x509.DNSName | x509.IPAddress) -> x509.GeneralName:
    """Return what a constraint allows: a name with what is under it, one address."""
    if isinstance(name, x509.DNSName):
        return name
    assert isinstance(name.value, IPv4Address | IPv6Address)
    return x509.IPAddress(ip_network(name.value))


def _excluded(known: list[x509.DNSName | x509.IPAddress]) -> list[x509.GeneralName] | None:
    """Return every address of a kind that no name allows: what is not named is not constrained."""
    versions = {one.value.version for one in known if isinstance(one, x509.IPAddress)
                and isinstance(one.value, IPv4Address | IPv6Address)}  # fmt: skip
    left = [net for version, net in ((4, "0.0.0.0/0"), (6, "::/0")) if version not in versions]
    return [x509.IPAddress(ip_network(net)) for net in left] or None


def _begun(
    subject: x509.Name, issuer: x509.Name, key: ec.EllipticCurvePublicKey,
    now: datetime.datetime, until: datetime.datetime,
) -> x509.CertificateBuilder:  # fmt: skip
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(key)
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - _BEFORE)
        .not_valid_after(until)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key), critical=False)
    )


def _usage(*, signs: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not signs, key_cert_sign=signs, crl_sign=signs, content_commitment=False,
        key_encipherment=False, data_encipherment=False, key_agreement=False, encipher_only=False,
        decipher_only=False,
    )  # fmt: skip
