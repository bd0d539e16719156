"""What should be lit, what was lit, and the keeper that makes it so."""
