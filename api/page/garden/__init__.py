"""What the screens of the garden show and write: its tables as forms, and the devices that are let in."""
