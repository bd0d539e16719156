"""`leerie <command>`: one file a command, its options, its exit codes; imported only when asked for."""
