"""One module per page of work."""
