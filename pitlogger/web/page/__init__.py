"""The page: screens made by the server, kept live by a few small scripts."""
