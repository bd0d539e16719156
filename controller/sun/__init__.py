"""How high the sun stands, and when a night is dark."""
