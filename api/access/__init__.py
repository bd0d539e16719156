"""Who may use the API: the board itself, and devices of the home network that a person let in."""
