"""How it lives on the board: the unit, its user, its sandbox."""
