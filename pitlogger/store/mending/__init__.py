"""A damaged file: noticed, checked, mended or replaced, and what can be read of it saved."""
