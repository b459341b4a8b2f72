"""The fleet under faults: nodes, ingesters, broker and database, killed, cut off, set back."""
