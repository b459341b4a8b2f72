"""Serial scales that send lines of text."""
