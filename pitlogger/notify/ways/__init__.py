"""Ways of being heard, a module each; each is imported only where it is configured."""
