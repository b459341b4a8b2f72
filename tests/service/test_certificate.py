"""The page's own certificate: good for the node's names, and its authority for nothing else."""

from __future__ import annotations

import json
import socket
import ssl
import subprocess
import threading
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec

from pitlogger.cli.installation.pair import pair
from pitlogger.errors import UsageError
from pitlogger.service.certificate import issue

NOW = datetime.now(UTC)
NAMES = ("barn.local", "barn", "192.0.2.7")


def _greet(folder: Path, name: str) -> str:
    """Let a TLS client that trusts the authority alone greet a server, by name."""
    served = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    served.load_cert_chain(folder / "certificate.pem", folder / "key.pem")
    trusts = ssl.create_default_context(cafile=str(folder / "authority.pem"))
    here, there = socket.socketpair()

    def serve() -> None:
        try:
            served.wrap_socket(there, server_side=True).close()
        except OSError:
            there.close()

    thread = threading.Thread(target=serve)
    thread.start()
    try:
        with trusts.wrap_socket(here, server_hostname=name) as client:
            return str(client.version())
    finally:
        here.close()
        thread.join(10)


@pytest.mark.parametrize("name", NAMES)
def test_a_client_that_trusts_the_authority_greets_the_node(tmp_path: Path, name: str) -> None:
    issue(tmp_path, NAMES, NOW)
    assert _greet(tmp_path, name) == "TLSv1.3"


def test_another_name_is_refused(tmp_path: Path) -> None:
    issue(tmp_path, NAMES, NOW)
    with pytest.raises(ssl.SSLCertVerificationError, match="mismatch"):
        _greet(tmp_path, "bank.example")


def test_no_key_of_the_authority_is_left(tmp_path: Path) -> None:
    made = issue(tmp_path, NAMES, NOW)
    authority = x509.load_pem_x509_certificate(made.authority.read_bytes())
    kept = [path for path in tmp_path.iterdir() if b"PRIVATE KEY" in path.read_bytes()]
    assert kept == [made.key]
    key = serialization.load_pem_private_key(made.key.read_bytes(), None)
    assert key.public_key() != authority.public_key()
    assert made.key.stat().st_mode & 0o077 == 0


@pytest.mark.parametrize("name", ["bank.example", "198.51.100.9", "2001:db8::1"])
def test_whoever_had_the_key_could_sign_for_nobody_else(
    tmp_path: Path, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    keys: list[ec.EllipticCurvePrivateKey] = []
    made_by = ec.generate_private_key

    def remember(curve: ec.EllipticCurve) -> ec.EllipticCurvePrivateKey:
        keys.append(made_by(curve))
        return keys[-1]

    monkeypatch.setattr(ec, "generate_private_key", remember)
    made = issue(tmp_path, NAMES, NOW)
    authority = x509.load_pem_x509_certificate(made.authority.read_bytes())
    forged = _forged(authority, keys[0], name)
    (tmp_path / "forged.pem").write_bytes(forged.public_bytes(serialization.Encoding.PEM))
    judged = subprocess.run(
        ["openssl", "verify", "-CAfile", str(made.authority), str(tmp_path / "forged.pem")],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert judged.returncode != 0
    assert "subtree" in judged.stdout + judged.stderr


def _forged(
    authority: x509.Certificate, key: ec.EllipticCurvePrivateKey, name: str
) -> x509.Certificate:
    from ipaddress import ip_address

    is_address = ":" in name or name[0].isdigit()
    who = x509.IPAddress(ip_address(name)) if is_address else x509.DNSName(name)
    return (
        x509.CertificateBuilder()
        .subject_name(x509.Name([]))
        .issuer_name(authority.subject)
        .public_key(key.public_key())
        .serial_number(7)
        .not_valid_before(NOW - timedelta(hours=1))
        .not_valid_after(NOW + timedelta(days=9))
        .add_extension(x509.SubjectAlternativeName([who]), critical=True)
        .sign(key, hashes.SHA256())
    )


@pytest.mark.parametrize("name", ["barn/local", "bärn", "a b", ""])
def test_what_is_no_name_is_refused_in_a_line(tmp_path: Path, name: str) -> None:
    with pytest.raises(UsageError, match="neither a host name nor an address"):
        issue(tmp_path, (name,), NOW)
    assert not list(tmp_path.iterdir())


def test_the_command_says_what_to_do_with_it(tmp_path: Path) -> None:
    done = CliRunner().invoke(pair, ["--certificate", str(tmp_path), "--name", "pit.lan", "--json"])
    assert done.exit_code == 0, done.output
    made = json.loads(done.stdout)
    assert "pit.lan" in made["names"]
    assert _greet(tmp_path, "pit.lan") == "TLSv1.3"
    told = CliRunner().invoke(pair, ["--certificate", str(tmp_path)])
    assert "tls_cert" in told.output
    refused = CliRunner().invoke(pair, ["--name", "pit.lan"])
    assert refused.exit_code != 0
