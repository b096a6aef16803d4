"""A result as one page to read, print and check."""
