"""The shape of a bottom: slopes, rises that close, crests, drops, drainage, turnings of isobaths."""
