"""What was found on a board: as JSON, and as a table."""
