"""What is wrong (errors) or doubtful (warnings) in a site file, in words."""
