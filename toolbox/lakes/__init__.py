"""One algorithm or chain over many lakes."""
