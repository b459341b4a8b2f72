"""Who a node is: its key, its id, the runs it had; kept over restarts and restored backups."""

from __future__ import annotations

import base64
import hashlib
import stat
from pathlib import Path

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.serialization import load_pem_private_key

from pitlogger.node.identity import KEY_FILE, TAGS_FILE, issue_run, node_uid


def test_the_id_follows_from_a_key_made_once_and_readable_by_its_owner_alone(
    tmp_path: Path,
) -> None:
    uid = node_uid(tmp_path)
    key_file = tmp_path / KEY_FILE
    assert stat.S_IMODE(key_file.stat().st_mode) == 0o600
    key = load_pem_private_key(key_file.read_bytes(), None)
    assert isinstance(key, Ed25519PrivateKey)
    digest = hashlib.sha256(key.public_key().public_bytes_raw()).digest()
    assert uid == "p-" + base64.b32encode(digest).decode()[:26].lower()
    assert node_uid(tmp_path) == uid
    assert [path.name for path in tmp_path.iterdir()] == [KEY_FILE]


def test_a_key_that_cannot_be_read_is_set_aside(tmp_path: Path) -> None:
    before = node_uid(tmp_path)
    (tmp_path / KEY_FILE).write_bytes(b"")
    assert node_uid(tmp_path) != before
    assert len(list(tmp_path.glob(f"{KEY_FILE}.broken-*"))) == 1


def test_a_run_never_gets_a_tag_again_though_the_record_forgot_it(tmp_path: Path) -> None:
    (tmp_path / TAGS_FILE).write_text("k7qm\nab2c\n", encoding="utf-8")
    runs = [issue_run(tmp_path, tmp_path / "none.db") for _ in range(20)]
    tags = (tmp_path / TAGS_FILE).read_text(encoding="utf-8").split()
    assert tags == ["k7qm", "ab2c", *(run[:4] for run in runs)]
    assert len(set(tags)) == len(tags)
