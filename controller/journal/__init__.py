"""The database of what happened: write, read, check, back up."""
