"""The nights ahead: hours, energy, cost; another program or a mechanical timer beside it."""
