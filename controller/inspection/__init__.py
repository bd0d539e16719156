"""What is wrong or doubtful in the wiring, what would explain readings, what to change."""
