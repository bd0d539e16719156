"""Now, and whether to believe it; the time zone data in force."""
