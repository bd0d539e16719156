"""What is wrong (errors) or probably a mistake (warnings) in a site file, as messages."""
