"""How lamps and relays age."""
