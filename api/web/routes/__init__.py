"""The routes, one file a subject, as functions on an `APIRouter` with its models."""
