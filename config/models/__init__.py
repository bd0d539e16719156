"""What a site is: one frozen model for each table."""
