"""Whether an instrument can be believed: its checks, and what its readings show."""
