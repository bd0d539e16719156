"""The screens of the page, one file each."""
