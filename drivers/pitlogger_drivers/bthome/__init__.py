"""BTHome v2 advertisements."""
