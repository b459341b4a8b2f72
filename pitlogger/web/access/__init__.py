"""Access: who may look, who may act, and how a phone gets its key.

There is no account and no password. A code shown where the node stands gives a phone a long
random key; only the key's SHA-256 is kept (a random key needs no slow hash). What arrives
by the Unix socket is trusted: the file's permissions are its lock.

Sources: ETSI EN 303 645, 5.1 (no default passwords); OWASP cheat sheets on sessions, CSRF and
REST; the Host allow-list is the remedy against DNS rebinding.
"""
