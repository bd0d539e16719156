"""Pictures of the page for README.md, and what they were made of."""
