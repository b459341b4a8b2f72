"""What a person sets on the page: ``page.toml`` beside the record.

The service may not write its own configuration. A table that stands in the configuration counts
as it stands there; the page fills in those that do not, and says which it may not change.
"""

from __future__ import annotations

FILE = "page.toml"
TABLES = ("units", "policy", "premises", "notify")
