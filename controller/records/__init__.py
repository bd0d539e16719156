"""The values that travel: a clock reading, a switching, an event, an override."""
