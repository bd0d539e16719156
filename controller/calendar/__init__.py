"""Nights, periods and intervals of time."""
