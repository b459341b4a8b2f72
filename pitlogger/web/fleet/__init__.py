"""A node that is a hub too: where other nodes send to, and the firm's questions."""
