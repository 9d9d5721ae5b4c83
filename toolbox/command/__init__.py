"""One algorithm as a command: what was typed, read; the work; what comes out, put in place."""
