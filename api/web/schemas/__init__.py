"""The request and response models, one file a subject."""
