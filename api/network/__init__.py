"""How this machine is reached: its addresses and names, its certificate, how the home network finds it."""
