"""Wind over hours, fetch, and the waves they raise."""
