"""The hub's own authority and its certificate for TLS, made at the first start.

The authority signs for this hub alone; nodes pin it when they join (``hub/codes.py``), so the
host's name or address may change. Sources: RFC 5280 (certificates), RFC 8446 (TLS 1.3).
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
from cryptography.x509.oid import NameOID

from pitlogger.files import write_whole

AUTHORITY, CERTIFICATE, KEY = "hub-authority.pem", "hub-certificate.pem", "hub-key.pem"
AUTHORITY_KEY = "hub-authority-key.pem"
AUTHORITY_YEARS = 20
CERTIFICATE_DAYS, RENEW_DAYS = 90, 30
_DAY = datetime.timedelta(days=1)


@dataclass(frozen=True, slots=True)
class HubIdentity:
    """Files of the hub's certificate and its key, and the PEM of the authority behind them."""

    certificate: Path
    key: Path
    authority: bytes


def hub_identity(folder: Path, now: datetime.datetime) -> HubIdentity:
    """Return the hub's identity, made where there is none, renewed where it will soon end.

    Raises:
        OSError: The folder cannot be written.
    """
    folder.mkdir(parents=True, exist_ok=True)
    key_file = folder / AUTHORITY_KEY
    authority_file = folder / AUTHORITY
    if not key_file.exists() or not authority_file.exists():
        key = ec.generate_private_key(ec.SECP256R1())
        made = _certificate(
            "pitlogger hub authority", key.public_key(), now, 366 * AUTHORITY_YEARS * _DAY,
            None, key,
        )  # fmt: skip
        write_whole(key_file, _pem(key))
        write_whole(authority_file, _text(made))
    if _ends_soon(folder / CERTIFICATE, now):
        own = ec.generate_private_key(ec.SECP256R1())
        signed = _certificate(
            "pitlogger hub", own.public_key(), now, CERTIFICATE_DAYS * _DAY, *_authority(folder)
        )
        write_whole(folder / KEY, _pem(own))
        write_whole(folder / CERTIFICATE, _text(signed))
    return HubIdentity(folder / CERTIFICATE, folder / KEY, authority_file.read_bytes())


def node_certificate(folder: Path, uid: str, key: bytes, now: datetime.datetime) -> str:
    """Return a certificate of 90 days that names a node, for its own Ed25519 key, as PEM.

    Raises:
        OSError: The authority's files cannot be read.
    """
    signed = _certificate(
        uid, Ed25519PublicKey.from_public_bytes(key), now, CERTIFICATE_DAYS * _DAY,
        *_authority(folder),
    )  # fmt: skip
    return _text(signed)


def service_certificate(folder: Path, name: str, file: str, now: datetime.datetime) -> None:
    """Write ``FILE-certificate.pem`` and ``FILE-key.pem`` of a part of the hub, such as its broker.

    Raises:
        OSError: The folder cannot be written.
    """
    key = ec.generate_private_key(ec.SECP256R1())
    signed = _certificate(name, key.public_key(), now, CERTIFICATE_DAYS * _DAY, *_authority(folder))
    write_whole(folder / f"{file}-key.pem", _pem(key))
    write_whole(folder / f"{file}-certificate.pem", _text(signed))


def _authority(folder: Path) -> tuple[x509.Certificate, ec.EllipticCurvePrivateKey]:
    key = serialization.load_pem_private_key((folder / AUTHORITY_KEY).read_bytes(), None)
    assert isinstance(key, ec.EllipticCurvePrivateKey)
    return x509.load_pem_x509_certificate((folder / AUTHORITY).read_bytes()), key


def _ends_soon(path: Path, now: datetime.datetime) -> bool:
    try:
        found = x509.load_pem_x509_certificate(path.read_bytes())
    except (OSError, ValueError):
        return True
    return found.not_valid_after_utc - now < RENEW_DAYS * _DAY


def _certificate(
    name: str,
    key: ec.EllipticCurvePublicKey | Ed25519PublicKey,
    now: datetime.datetime,
    lasts: datetime.timedelta,
    issuer: x509.Certificate | None,
    signer: ec.EllipticCurvePrivateKey,
) -> x509.Certificate:
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)])
    builder = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject if issuer is None else issuer.subject)
        .public_key(key)
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - 2 * _DAY)  # clocks of nodes may be behind
        .not_valid_after(now + lasts)
        .add_extension(x509.BasicConstraints(ca=issuer is None, path_length=None), critical=True)
        .add_extension(x509.SubjectAlternativeName([x509.DNSName("pitlogger-hub")]), critical=False)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key), critical=False)
    )
    builder = builder.add_extension(
        x509.AuthorityKeyIdentifier.from_issuer_public_key(signer.public_key()), critical=False
    )
    if issuer is None:
        usage = x509.KeyUsage(
            digital_signature=False, content_commitment=False, key_encipherment=False,
            data_encipherment=False, key_agreement=False, key_cert_sign=True, crl_sign=True,
            encipher_only=False, decipher_only=False,
        )  # fmt: skip
        builder = builder.add_extension(usage, critical=True)
    return builder.sign(signer, hashes.SHA256())


def _text(certificate: x509.Certificate) -> str:
    return certificate.public_bytes(serialization.Encoding.PEM).decode()


def _pem(key: ec.EllipticCurvePrivateKey) -> str:
    pem, pkcs8 = serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8
    return key.private_bytes(pem, pkcs8, serialization.NoEncryption()).decode()
