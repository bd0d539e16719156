"""How people and programs speak to Leerie: the command line, the web, and the house put together."""
