"""Loads, transformer losses, metering and tariffs, as values."""
