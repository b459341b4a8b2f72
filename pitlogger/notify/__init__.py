"""Being heard: every notification is a row of the outbox, sent by one of several ways."""
