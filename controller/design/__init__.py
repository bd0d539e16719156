"""Before anything is built: how many lights and where, beams and lux, what to buy."""
