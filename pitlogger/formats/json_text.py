"""JSON that strangers, or files of ours after a bad night, send: a document or a ``ValueError``."""

from __future__ import annotations

import json
import re
from typing import Any

# Escaped, or as bytes that are no UTF-8 and that ``json`` lets pass all the same.
_HALF = re.compile(rb"\\u[dD][89a-fA-F]|\xed[\xa0-\xbf]")


def parse_json(content: bytes | str) -> Any:
    """Return what a JSON text says.

    Raises:
        ValueError: It is none, is nested without an end, or holds half a character (a lone
            surrogate), which no file, screen or answer can take.

    Source: RFC 8259, 8.2 (what software does with half a character is unpredictable) and 9.
    """
    try:
        found = json.loads(content)
        written = content if isinstance(content, bytes) else content.encode()
        if _HALF.search(written):
            json.dumps(found, ensure_ascii=False).encode()
    except RecursionError:
        raise ValueError("it is nested too deeply") from None
    except UnicodeEncodeError:
        raise ValueError("it holds half a character (a lone surrogate)") from None
    return found


def holds_half_a_character(content: bytes) -> bool:
    """Return whether JSON holds a lone surrogate; what is no JSON does not."""
    if not _HALF.search(content):
        return False
    try:
        json.dumps(json.loads(content), ensure_ascii=False).encode()
    except UnicodeEncodeError:
        return True
    except (ValueError, RecursionError):  # refused where it is read
        return False
    return False
