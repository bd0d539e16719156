"""Errors and warnings about the wiring, what would explain readings, what to change."""
