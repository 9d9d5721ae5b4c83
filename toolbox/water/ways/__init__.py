"""Water that is safe, and the shortest ways over it."""
