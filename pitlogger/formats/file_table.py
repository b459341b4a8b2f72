"""A table of a file that people write: an unknown key is refused, what was read stays as it is."""

from pydantic import BaseModel, ConfigDict


class FileTable(BaseModel):
    """Base of the models of configuration, cook, job and policy files."""

    model_config = ConfigDict(extra="forbid", frozen=True, defer_build=True)
