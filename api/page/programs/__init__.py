"""Programs on the page: every zone's in words, the form that changes one, what it would do, and undo."""
