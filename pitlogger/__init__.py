"""Log, watch and learn from smoking large cuts of meat."""

__version__ = "0.1.0"
