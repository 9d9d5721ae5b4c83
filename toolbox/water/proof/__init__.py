"""The proof of a run by geometry alone. Shares nothing with the way-finding: it must not make its mistakes."""
