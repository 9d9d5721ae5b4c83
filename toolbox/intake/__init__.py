"""Spot lists as people keep them: files into raw tables, raw tables into placed records, records into one book."""
