"""A lake as agencies hand it out: files opened, understood, asked about, put on one metric grid and cleaned."""
