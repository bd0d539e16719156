"""Which fault would explain the volts that were measured at the lamps."""
