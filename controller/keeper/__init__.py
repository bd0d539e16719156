"""The control loop: compare each relay with its decision, correct it, record it."""
