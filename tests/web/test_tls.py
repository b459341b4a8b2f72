"""With a certificate the page is served by https, and its cookie is bound to it."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import httpx
import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

from pitlogger.config import parse_config
from pitlogger.errors import ConfigError
from pitlogger.web.access.roles import Role
from tests.browser.staging import staged


def _certificate(folder: Path) -> tuple[Path, Path]:
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "localhost")])
    now = datetime.now(UTC)
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(1)
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=1))
        .sign(key, hashes.SHA256())
    )
    pem = serialization.Encoding.PEM
    cert_file, key_file = folder / "cert.pem", folder / "key.pem"
    cert_file.write_bytes(made.public_bytes(pem))
    plain = serialization.NoEncryption()
    key_file.write_bytes(key.private_bytes(pem, serialization.PrivateFormat.PKCS8, plain))
    return cert_file, key_file


def test_https_sets_a_cookie_that_plain_http_cannot(tmp_path: Path) -> None:
    cert, key = _certificate(tmp_path)
    with staged(tmp_path, None, f'tls_cert = "{cert}"\ntls_key = "{key}"\n') as stage:
        assert stage.address.startswith("https://localhost:")
        form = {"code": stage.access.invite(Role.HANDS), "name": "phone"}
        origin = stage.address.rstrip("/")
        with httpx.Client(verify=False, base_url=origin) as client:
            answer = client.post("/pair", data=form, headers={"Origin": origin})
            cookie = answer.headers["set-cookie"]
            assert cookie.startswith("__Host-pitlogger=")
            assert "Secure" in cookie
            assert client.get("/api/v1/status").status_code == 200


def test_a_certificate_without_its_key_is_refused() -> None:
    with pytest.raises(ConfigError, match="tls_cert and tls_key go together"):
        parse_config('[web]\ntls_cert = "/x/cert.pem"\n')
