"""How far a bottom may be off: learnt from what is left out of a lake's own data."""
