"""What programs of others collect and subscribe to: metrics, and the coming nights as a calendar."""
