"""What a site is: its models, the program language, and the reading and writing of its file."""
