"""What other people's files say, brought into the book, into series, into soundings."""
