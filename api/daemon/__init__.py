"""The service put together, started lights first, reloaded and stopped."""
