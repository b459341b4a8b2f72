"""Limits on food, each a pure function of a piece's history.

Nothing here reads a clock, a socket or a person's file. Verdicts read "limit met", "limit
not met" or "not shown"; the limit and its source stand beside each. pitlogger is a record
and a reminder: the local code and the licensed or certified person decide.
"""
