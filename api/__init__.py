"""How people and programs speak to Leerie: the command line, the REST routes, and the place where all is put together."""
