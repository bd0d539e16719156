"""The request and response models that several routes share."""
