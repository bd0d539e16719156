"""What is wrong with a board, judged by what was found on it, and what to do about it. Pure."""
