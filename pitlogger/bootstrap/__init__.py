"""The composition root: the only place that joins parts."""
