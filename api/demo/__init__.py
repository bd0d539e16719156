"""An evening in a minute: the daemon with a fast clock and a screen."""
