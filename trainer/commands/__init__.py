"""One module per command; each turns arguments into calls and results into text."""
