"""Published figures, one row a figure."""
