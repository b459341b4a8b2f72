"""How much raw meat to buy, and whether it is enough."""
