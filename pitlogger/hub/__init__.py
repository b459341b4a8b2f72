"""The hub: the records of many nodes in one database, and questions across them."""
