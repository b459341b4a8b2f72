"""Before turning in: what is checked, what is expected, who is woken."""
