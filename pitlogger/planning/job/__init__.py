"""One job: its question, purchase, calculation, papers, and what came of it."""
