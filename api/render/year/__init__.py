"""The year in pictures, tables and JSON: the picture of 365 nights, past or to come, and the year ahead."""
